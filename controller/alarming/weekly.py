"""The week's message: all is well, or what is not; its absence is an alarm in itself. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from controller.alarming.hours import said, said_with_zone
from controller.alarming.letters import Message, garden_name, headed, page_url
from controller.effects import Alert
from controller.garden import Garden
from controller.us_units import L_PER_GAL, for_people
from controller.watering.words import bed_name

MOST_STANDING = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What one bed was given."""

    bed: str
    waterings: int
    litres: float


def weekly_letter(
    garden: Garden,
    picture: Mapping[str, Any],
    week: Sequence[Given] | None,
    standing: Sequence[Alert],
    *,
    due_utc_s: float,
    now_utc_s: float,
    next_utc_s: float,
    backup: str = "",
) -> Message:
    """Write the week's message.

    Args:
        garden: whose.
        picture: the garden now, as the page has it.
        week: what each bed was given in seven days, None where the record cannot be read.
        standing: the alerts that stand.
        due_utc_s: when it was due; it names the message.
        now_utc_s: now.
        next_utc_s: when the next one comes.
        backup: how the backups stand, a sentence; empty leaves it out.
    """
    zone = garden.garden.zone
    told = [alert for alert in standing if alert.code != "paused"]
    well = "all is well" if not standing else f"the week, {_count(len(told), 'alert')} standing"
    if standing and not told:
        well = "the week, a pause is on"
    url = page_url(garden)
    lines = [
        *_water(garden, week),
        *_beds(picture),
        *_probes(picture),
        *_standing(standing, garden.garden.units),
        *([backup] if backup else []),
        f"The next message of this kind comes on {said(next_utc_s, zone)}. If it does not, look "
        "at the board and its network.",
        f"{garden_name(garden)}, {said_with_zone(now_utc_s, zone)}."
        + (f" The page: {url}" if url else ""),
    ]
    return Message(
        id=f"{garden.garden.id}-weekly-{due_utc_s:.0f}",
        kind="weekly",
        at_utc_s=now_utc_s,
        subject=headed(garden, well),
        text="\n\n".join(lines),
    )


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _amount(litres: float, garden: Garden) -> str:
    us = garden.garden.units == "us"
    return f"{litres / L_PER_GAL:.0f} gal" if us else f"{litres:.0f} L"


def _water(garden: Garden, week: Sequence[Given] | None) -> Iterator[str]:
    if week is None:
        yield "Water of the week: the record cannot be read. Look at the disk of the board."
        return
    if not week:
        yield "Water of the week: none."
        return
    waterings = sum(given.waterings for given in week)
    whole = _amount(sum(given.litres for given in week), garden)
    each = ", ".join(
        f"{bed_name(given.bed)} {_amount(given.litres, garden)} in {given.waterings}"
        for given in week
    )
    yield f"Water of the week: {whole} in {_count(waterings, 'watering')}. {each}."


def _beds(picture: Mapping[str, Any]) -> Iterator[str]:
    rows = [
        f"{bed_name(bed)}: {100.0 * state['depletion_frac']:.0f} % used, thirst line "
        f"{100.0 * state['thirst_line_frac']:.0f} %."
        for bed, state in picture["beds"].items()
        if state["state"] != "cleared"
    ]
    yield "\n".join(rows) if rows else "No bed has plants in it."


def _probes(picture: Mapping[str, Any]) -> Iterator[str]:
    probes = {
        name: probe for bed in picture["beds"].values() for name, probe in bed["probes"].items()
    }
    if not probes:
        return
    doubted = [name for name, probe in probes.items() if probe["trust"] != "whole"]
    sound = len(probes) - len(doubted)
    words = f"Probes: {sound} of {len(probes)} sound"
    words += f"; in doubt or silent: {', '.join(doubted)}." if doubted else "."
    told = {
        name: volts
        for name, probe in probes.items()
        if (volts := probe.get("battery_v")) is not None
    }
    if told:
        low = min(told, key=lambda name: told[name])
        words += f" Batteries: the lowest is {low} with {told[low]:.2f} V."
    else:
        words += " No probe tells its battery."
    yield words


def _standing(standing: Sequence[Alert], units: str) -> Iterator[str]:
    if not standing:
        yield "No alert stands."
        return
    rows = [f"- {for_people(alert.text, units)}" for alert in standing[:MOST_STANDING]]
    if len(standing) > MOST_STANDING:
        rows.append(f"- and {len(standing) - MOST_STANDING} more")
    yield "\n".join(["What stands:", *rows])
