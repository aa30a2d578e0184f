"""A card of one page for whoever looks after the garden: plain words, to be printed and pinned up.

Pure: a garden file and two texts in, lines out. What to do about each alert is a decision of this
module; a test holds that every alert stands in exactly one of the three groups.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from api.page.words import bed_name
from api.pair_routes import link_base
from controller.alarming.codes import ALERTS, AlertCode
from controller.explain_numbers import BedNumbers, numbers, turn_d, turn_l
from controller.garden import Garden
from controller.us_units import in_us_units

COLUMNS = 76  # leaves room for a margin
BLANK = "_" * 40
LINES_MOST = 66  # of a page of A4 or letter at six lines an inch, less the margins

A = AlertCode
SHUT_THE_TAP = (
    A.BURST,
    A.LEAK,
    A.VALVE_STUCK_OPEN,
    A.MASTER_FAILED,
    A.FLOW_ASKED,
    A.PRESSURE_HIGH,
)
CALL_TODAY = (
    A.SUPPLY_LOST,
    A.TANK_LOW,
    A.BED_WAITING,
    A.LINK_LOST,
    A.CANNOT_RECORD,
    A.CRASH_LOOP,
    A.VALVE_SILENT,
    A.VALVE_STUCK_CLOSED,
    A.PROBES_SWAPPED,
    A.HISTORY_LOST,
    A.OTHER_CONTROLLER,
    A.NODE_CONTRACT,
    A.NOT_ARMED,
)
CAN_WAIT = (
    A.STUMBLED,
    A.METER_FAULT,
    A.PROBE_SILENT,
    A.PROBE_SUSPECT,
    A.MAST_SILENT,
    A.BED_BLIND,
    A.FROST,
    A.PAUSED,
    A.GARDEN_REFUSED,
    A.ALARM_FAILED,
    A.PROOF_OVERDUE,
    A.FLOW_LOW,
    A.CLOCK_UNSYNCED,
    A.BROKER_OPEN,
    A.WALK_STALE,
)


def card_text(garden: Garden, stop_tap: str = "", call: str = "") -> str:
    """Write the card.

    Args:
        garden: the garden file.
        stop_tap: where the tap is that shuts all of its water; empty: a line to write on.
        call: whom to call; empty: a line to write on.

    Returns:
        At most 66 lines of 76 columns for a garden of up to eight beds; ends with a line end.
    """
    name = garden.garden.name or garden.garden.id
    parts = (
        [f"{name}: for whoever looks after it", "=" * min(COLUMNS, len(name) + 28)],
        _nothing(),
        _water_runs(stop_tap, call),
        _page(garden),
        _may(),
        _alarms(),
        _stands_still(garden),
    )
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def _nothing() -> list[str]:
    return _para(
        "The beds water themselves, as a rule at night and every few days. Dry soil on top is no "
        "fault, and leaves that hang in the midday heat are none. As long as nothing below "
        "happens there is nothing to do."
    )


def _water_runs(stop_tap: str, call: str) -> list[str]:
    return [
        "IF WATER RUNS WHERE IT SHOULD NOT",
        *_item(f"1. Shut the stop tap: {stop_tap or BLANK}"),
        *_item("2. On the page press Close every valve. Anybody may, at any time."),
        *_item(f"3. Call: {call or BLANK}"),
        *_item("Leave wires and boxes alone, above all wet ones."),
    ]


def _page(garden: Garden) -> list[str]:
    page = garden.page
    if page.on_loopback:
        words = (
            "The page is shown on the board itself only; no phone reaches it. "
            "Close every valve there, or shut the tap."
        )
        return ["THE PAGE", *_item(words)]
    base = link_base(f"http://{page.listen}", page.names, loopback_only=False)
    return [
        "THE PAGE",
        *_item(f"{base}/ on a phone that was let in, in the house's network."),
        *_item("Its first sentence says what the garden does, or what is wrong."),
    ]


def _may() -> list[str]:
    return [
        "WHAT YOU MAY DO THERE",
        *_item("- Stop one valve, or all of them. Pause a bed or the whole garden."),
        *_item(
            "- Tell, under Tell…: how the soil feels a finger deep or deeper, how the leaves "
            "look early in the morning, what you poured by can. Only what is so: the beds go by it."
        ),
        *_item(
            "As a helper you order no water. What you tell may make the garden water that bed by "
            "itself, within its limits: limp leaves in the morning even by day. Ending a pause, "
            "watering by valve and lifting alarms are left to the gardener."
        ),
    ]


def _alarms() -> list[str]:
    return [
        "WHAT ALARMS MEAN",
        *_item(f"Shut the stop tap, then call: {_titles(SHUT_THE_TAP)}."),
        *_item(f"Call the same day, beds may stay dry: {_titles(CALL_TODAY)}."),
        *_item(f"Can wait: {_titles(CAN_WAIT)}."),
    ]


def _titles(codes: Iterable[AlertCode]) -> str:
    return "; ".join(ALERTS[code].title.removesuffix(", so nothing is watered") for code in codes)


def _stands_still(garden: Garden) -> list[str]:
    return [
        "IF EVERYTHING STANDS STILL (no power, no page)",
        *_item(
            "Valves shut by themselves within three minutes, unless one sticks: look. From then "
            "on, in summer without rain, pour slowly at the base, in the morning or evening, and "
            "write it down:"
        ),
        *_pours(numbers(garden).beds, us=garden.garden.units == "us"),
    ]


def _pours(beds: Iterable[BedNumbers], *, us: bool) -> Iterator[str]:
    for bed in beds:
        each, days = turn_l(bed) / bed.plants, turn_d(bed)
        often = "every day" if days == 1 else f"every {days} days"
        much = in_us_units(f"{each:.1f} L") if us else f"{each:.0f} L"
        yield f"  {bed_name(bed.bed):<20} {much:>7} on each of {bed.plants} plants, {often}"


def _para(text: str) -> list[str]:
    return textwrap.wrap(text, COLUMNS, break_long_words=False, break_on_hyphens=False)


def _item(text: str) -> list[str]:
    hang = "  " + " " * (len(text) - len(text.lstrip("-123. ")))
    return textwrap.wrap(
        text,
        COLUMNS,
        initial_indent="  ",
        subsequent_indent=hang,
        break_long_words=False,
        break_on_hyphens=False,
    )
