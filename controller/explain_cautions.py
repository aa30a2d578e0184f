"""What a grower should know before arming: one caution for each thing that is missing or tight."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from controller.agronomy.crop import untried
from controller.explain_numbers import BedNumbers, Numbers
from controller.explain_scarce import scarce_words
from controller.garden import Bed, Garden
from controller.sensing.estimate import PROBE_SD_M3_M3
from controller.watering.limits import STARTS_MOST

NIGHT_SHARE_FRAC = 0.8  # [-] of the hours; more leaves no room for a second try
OFTEN_D = 2.0  # [d] shorter and the bed is hardly deep and rare
LEAN_MIDDLE = 0.5
PROBE_SHARE_FRAC = 0.15  # [-] of what the soil can give; probes that err by more tell little


class Caution(StrEnum):
    """Every caution that `check` can give."""

    NO_METER = "no_meter"
    COARSE_METER = "coarse_meter"
    NO_MASTER = "no_master"
    PLAIN_RELAY = "plain_relay"
    NO_WEATHER = "no_weather"
    NIGHT_FULL = "night_full"
    NIGHT_SHORT = "night_short"
    CAP_BELOW_REFILL = "cap_below_refill"
    STARTS_BELOW_REFILL = "starts_below_refill"
    NO_PROBES = "no_probes"
    ONE_DEPTH = "one_depth"
    PROBE_BELOW_ROOTS = "probe_below_roots"
    UNCALIBRATED = "uncalibrated"
    LIGHT_SOIL = "light_soil"
    UNTRIED = "untried"
    UNUSED = "unused"
    PLASTIC = "plastic"
    LEAN = "lean"
    OFTEN = "often"
    SHARED_WATER = "shared_water"
    SHORT_OF_WATER = "short_of_water"
    TRIAL_BROKER = "trial_broker"
    OPEN_PAGE = "open_page"
    NO_ALARM = "no_alarm"


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionText:
    """One caution in words."""

    code: Caution
    bed: str | None = None
    text: str


def cautions(garden: Garden, found: Numbers) -> tuple[CautionText, ...]:
    """List the cautions of a garden, those of the whole garden first.

    Args:
        garden: the garden file, validated.
        found: its numbers.

    Returns:
        Cautions, in the order in which they are told.
    """
    whole = [
        CautionText(code=code, text=text)
        for source in (_water(garden, found), _parts(garden), _ways(garden))
        for code, text in source
    ]
    beds = [
        CautionText(code=code, bed=one.bed, text=text)
        for one in found.beds
        for code, text in _bed(garden, garden.beds[one.bed], one)
    ]
    return (*whole, *beds)


def _water(garden: Garden, found: Numbers) -> Iterator[tuple[Caution, str]]:
    supply = garden.supply
    if garden.master is None and garden.pump is None:
        hour_l = supply.flow_l_min * 60.0
        yield (
            Caution.NO_MASTER,
            "No master valve: a bed valve that sticks open runs until somebody shuts the tap, "
            f"up to {hour_l:.0f} L an hour. Nothing here can bound it.",
        )
    if found.meter is None:
        yield (
            Caution.NO_METER,
            "No water meter: doses go by time, and a burst pipe, a leak, a clogged line or a "
            "valve that lies cannot be noticed.",
        )
    elif not found.meter.fine_enough:
        yield (
            Caution.COARSE_METER,
            f"The meter is coarse: at the slowest bed a check of flow takes "
            f"{found.meter.check_minutes:.1f} minutes instead of 1.",
        )
    yield from _night(found)
    if supply.shared:
        yield (
            Caution.SHARED_WATER,
            "Others use this water behind the meter: flow that nobody announced is asked about "
            "first, so a leak is found later.",
        )
    for text in scarce_words(garden, found):
        yield Caution.SHORT_OF_WATER, text


def _night(found: Numbers) -> Iterator[tuple[Caution, str]]:
    """Whether all beds fit into one night, and what happens where they do not."""
    share, hours = found.night.share_frac, found.night.hours
    if share > 1.0:
        yield (
            Caution.NIGHT_SHORT,
            "The night is too short: should all beds come due together they need "
            f"{100.0 * share:.0f} % of the hours {hours}. The neediest of them then drink a night "
            "early, before their "
            "thirst line; what has no room for a deep watering waits for the next night, and only "
            "a floor in danger breaks the hours. Longer hours, more beds at once or faster "
            "emitters help.",
        )
    elif share > NIGHT_SHARE_FRAC:
        yield (
            Caution.NIGHT_FULL,
            "The night is tight: should all beds come due together they need "
            f"{100.0 * share:.0f} % of the hours {hours}, and a valve that has to be tried again "
            "may find no room. Longer "
            "hours, more beds at once or faster emitters help.",
        )


def _parts(garden: Garden) -> Iterator[tuple[Caution, str]]:
    for name, valve in garden.valves.items():
        if valve.plain_relay:
            yield (
                Caution.PLAIN_RELAY,
                f"Valve {name} is a plain relay: it stays open if this board or the link dies, "
                "until the master valve or pump lapses. Prefer a node that counts its own time.",
            )
    if not garden.weather:
        yield (
            Caution.NO_WEATHER,
            "No weather instruments: use is reckoned from monthly means, rain is noticed only by "
            "the probes, and beds without probes go on for half as long.",
        )
    probes = {probe for bed in garden.beds.values() for probe in bed.probes}
    valves = {bed.valve for bed in garden.beds.values()}
    idle = [f"probe {name}" for name in garden.probes if name not in probes]
    idle += [
        f"valve {name}"
        for name, valve in garden.valves.items()
        if valve.role == "bed" and name not in valves
    ]
    idle += [f"meter {name}" for name in garden.meters if name != garden.meter]
    if idle:
        yield Caution.UNUSED, f"In the file, but used by nothing: {', '.join(idle)}."


def _ways(garden: Garden) -> Iterator[tuple[Caution, str]]:
    if garden.broker.builtin:
        yield (
            Caution.TRIAL_BROKER,
            "The built-in broker is for trials on this machine only; it keeps nobody out.",
        )
    if not garden.page.on_loopback:
        yield (
            Caution.OPEN_PAGE,
            f"The page listens on {garden.page.listen}: pair each phone, and never forward this "
            "port to the internet.",
        )
    if garden.alarm.mail is None and garden.alarm.command is None:
        yield (
            Caution.NO_ALARM,
            "No alarm gets out of the house: [alarm] sets neither mail nor a command, so whoever "
            "is away hears of nothing.",
        )


def _bed(garden: Garden, bed: Bed, found: BedNumbers) -> Iterator[tuple[Caution, str]]:
    yield from _caps(found)
    yield from _senses(garden, bed)
    if bed.mulch == "plastic":
        yield (
            Caution.PLASTIC,
            "Under plastic little rain reaches the roots, and a leak does not show: lift the "
            "sheet now and then.",
        )
    new = untried(bed.crop)
    if new:
        yield (
            Caution.UNTRIED,
            f"Untried: the lines for {', '.join(new)} are a handbook's (line = p of FAO-56 at 5 mm "
            "a day, floor 0.10 beyond it); nobody has grown them by this tool. Look at the leaves.",
        )
    if bed.lean > LEAN_MIDDLE:
        yield (
            Caution.LEAN,
            f"lean = {bed.lean:g} dries further than the middle: while fruit sets that risks "
            "fewer and smaller fruit and blossom-end rot.",
        )
    if not found.interval_d >= OFTEN_D:
        yield (
            Caution.OFTEN,
            f"A refill lasts only {found.interval_d:.1f} days in high summer: the wetted strip is "
            "narrow or the soil light. A further drip line or mulch makes waterings rarer.",
        )


def _caps(found: BedNumbers) -> Iterator[tuple[Caution, str]]:
    if not found.dose_l >= found.refill_l or not found.bed_l_day >= found.refill_l:
        cap_l = min(found.dose_l, found.bed_l_day)
        yield (
            Caution.CAP_BELOW_REFILL,
            f"The cap of {cap_l:.0f} L is below one refill of {found.refill_l:.0f} L: "
            "the bed can never be filled in one night.",
        )
    if found.pulses > STARTS_MOST:
        within_l = found.refill_l * STARTS_MOST / found.pulses
        yield (
            Caution.STARTS_BELOW_REFILL,
            f"One refill of {found.refill_l:.0f} L takes {found.pulses} pulses, and a valve opens "
            f"no more than {STARTS_MOST} times in 24 hours: {within_l:.0f} L of it come in a day. "
            "More emitters, on a further drip line, make the pulses fewer.",
        )


def _senses(garden: Garden, bed: Bed) -> Iterator[tuple[Caution, str]]:
    if not bed.probes and bed.like is None:
        yield (
            Caution.NO_PROBES,
            "No probes and no other bed to follow: it is watered on the reckoned balance alone, "
            "in reduced doses, with alarms.",
        )
        return
    depths = {garden.probes[name].depth_cm for name in bed.probes}
    if len(depths) == 1:
        yield (
            Caution.ONE_DEPTH,
            "All probes stand at one depth: one among the roots and one near their bottom show "
            "whether water was lost below.",
        )
    deep = [name for name in bed.probes if garden.probes[name].depth_cm > 100 * bed.root_depth_m]
    if deep:
        yield Caution.PROBE_BELOW_ROOTS, f"Below the roots and so of little use: {', '.join(deep)}."
    yield from _light_soil(bed)
    bare = [
        name
        for name in bed.probes
        if garden.probes[name].kind == "raw" and garden.probes[name].calibration is None
    ]
    if bare:
        yield (
            Caution.UNCALIBRATED,
            f"Raw counts without calibration: {', '.join(bare)}. Two dry spells have to teach what "
            "they mean, until then the bed goes by its balance; two weighed points are better.",
        )


def _light_soil(bed: Bed) -> Iterator[tuple[Caution, str]]:
    """Whether what probes are usually wrong by is much of what the soil can give."""
    available_m3_m3 = bed.fc_m3_m3 - bed.wp_m3_m3
    share_frac = PROBE_SD_M3_M3 / available_m3_m3
    if bed.probes and share_frac > PROBE_SHARE_FRAC:
        yield (
            Caution.LIGHT_SOIL,
            f"Light soil gives {available_m3_m3:.3f} m3/m3, and probes are usually wrong by "
            f"{PROBE_SD_M3_M3:.3f} together, {100.0 * share_frac:.0f} % of it: some doses will "
            "begin on full ground and drain. More drip lines widen the strip, so that it lasts "
            "longer; a second probe, and full point and wilting point measured here, make it "
            "surer.",
        )
