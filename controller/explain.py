"""Explains a garden file back to its grower: numbers, cautions, a plain timer plan, in words."""

from __future__ import annotations

import calendar
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from controller.alarming.reports import way_words
from controller.explain_cautions import CautionText, cautions
from controller.explain_numbers import BedNumbers, Numbers, numbers
from controller.explain_scarce import Scarcity, scarcity
from controller.garden import Garden
from controller.us_units import L_PER_GAL, MM_PER_IN, for_people

COLUMNS = 80
NAME_COLUMNS = 12

CODES = (
    "Local codes, a licensed plumber and a licensed electrician decide. Between drinking water "
    "and this garden there has to be a backflow preventer that the water supplier accepts; "
    "fertiliser in the line raises its class. Keep field wiring at extra-low voltage from a "
    "safety transformer, fused, in closed boxes; this project has nothing to say on mains wiring."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """A garden file explained; `dataclasses.asdict` makes it JSON."""

    garden: str
    name: str
    units: str
    numbers: Numbers
    cautions: tuple[CautionText, ...]
    alarms: tuple[str, ...] = ()
    scarcity: Scarcity | None = None
    codes: str = CODES


def explain(garden: Garden) -> Explanation:
    """Explain a garden file.

    Args:
        garden: the garden file, validated.

    Returns:
        Its numbers for high summer and its cautions.
    """
    found = numbers(garden)
    return Explanation(
        garden=garden.garden.id,
        name=garden.garden.name or garden.garden.id,
        units=garden.garden.units,
        numbers=found,
        cautions=cautions(garden, found),
        alarms=tuple(way_words(garden).values()),
        scarcity=scarcity(garden, found.beds),
    )


def render(explanation: Explanation) -> str:
    """Write an explanation for a screen of 80 columns.

    Args:
        explanation: what `explain` gave.

    Returns:
        Text that ends with a line end.
    """
    sections = (
        _head,
        _capacity,
        _stages,
        _drinks,
        _night,
        _meter,
        _worst,
        _alarms,
        _cautions,
        _timer,
        _codes,
    )
    blocks = ["\n".join(section(explanation)) for section in sections]
    return "\n\n".join(blocks) + "\n"


def _para(text: str, indent: str = "  ", first: str | None = None) -> list[str]:
    start = indent if first is None else first
    return textwrap.wrap(text, COLUMNS, initial_indent=start, subsequent_indent=indent)


def _volume(litres: float, units: str) -> str:
    return f"{litres / L_PER_GAL:.0f} gal" if units == "us" else f"{litres:.0f} L"


def _depth(depth_mm: float, units: str) -> str:
    return f"{depth_mm / MM_PER_IN:.1f} in" if units == "us" else f"{depth_mm:.0f} mm"


def span(minutes: float) -> str:
    """Write minutes as `55 min` or `2 h 10`, hours from 60 minutes on."""
    whole = round(minutes)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d}"


def days(interval_d: float) -> str:
    """Write an interval as `3.0 days`."""
    return f"{interval_d:.1f} days" if interval_d < 10 else f"{interval_d:.0f} days"


def _name(bed: str) -> str:
    cut = bed if len(bed) <= NAME_COLUMNS else bed[: NAME_COLUMNS - 1] + "…"
    return f"  {cut:<{NAME_COLUMNS}}"


def _month(explanation: Explanation) -> str:
    return calendar.month_name[explanation.numbers.month]


def _head(explanation: Explanation) -> Iterator[str]:
    found = explanation.numbers
    plants = sum(bed.plants for bed in found.beds)
    many = "bed" if len(found.beds) == 1 else "beds"
    title = f"{explanation.name} ({explanation.garden}): {len(found.beds)} {many}, {plants} plants"
    yield from _para(f"{title}. The file is in order.", indent="")
    source = "assumed from the latitude" if found.eto_assumed else "from your normals"
    all_numbers = (
        f"All numbers are for full-grown plants in {_month(explanation)} without rain. A lawn "
        f"would use {found.eto_mm_d:.1f} mm a day then ({source})."
    )
    yield from _para(for_people(all_numbers, explanation.units), indent="")


def _capacity(explanation: Explanation) -> Iterator[str]:
    units = explanation.units
    yield "What a bed holds for its plants, and how much is used at its thirst line"
    yield "  (also called management-allowed depletion, MAD, of the total available water)"
    for bed in explanation.numbers.beds:
        holds = f"{_depth(bed.capacity_mm, units):>6} {_volume(bed.capacity_l, units):>8}"
        line = f"{_depth(bed.thirst_line_mm, units):>6} {_volume(bed.thirst_line_l, units):>8}"
        mad = f"(MAD {100.0 * bed.thirst_line_frac:.0f} %)"
        yield f"{_name(bed.bed)} holds {holds}   thirst line {line}  {mad}"


def _stages(explanation: Explanation) -> Iterator[str]:
    units, beds = explanation.units, explanation.numbers.beds
    heads = list(dict.fromkeys(one.stage for bed in beds for one in bed.stages))
    yield "Thirst line stage by stage: the depth that may be used, and the same as MAD"
    yield _name("") + "".join(f"{head:>13}" for head in heads)
    for bed in beds:
        told = {one.stage: one for one in bed.stages}
        cells = (
            f"{_depth(told[head].line_mm, units)} {100.0 * told[head].line_frac:.0f} %"
            if head in told
            else "-"
            for head in heads
        )
        yield _name(bed.bed) + "".join(f"{cell:>13}" for cell in cells)


def _drinks(explanation: Explanation) -> Iterator[str]:
    yield f"One refill, and how long it lasts in {_month(explanation)}"
    for bed in explanation.numbers.beds:
        yield _drink(bed, explanation.units)


def _drink(bed: BedNumbers, units: str) -> str:
    pulses = "1 pulse" if bed.pulses == 1 else f"{bed.pulses} pulses"
    amount = f"{_volume(bed.refill_l, units):>8} in {span(bed.refill_minutes):>7}"
    return f"{_name(bed.bed)} {amount}, {pulses:<9} every {days(bed.interval_d)}"


def _night(explanation: Explanation) -> Iterator[str]:
    night = explanation.numbers.night
    yield f"The night in {_month(explanation)}"
    yield from _para(
        f"Should all beds come due together, they need {span(night.needed_minutes)} with soaks "
        f"between pulses. The hours {night.hours} give {span(night.window_minutes)}: "
        f"{100.0 * night.share_frac:.0f} % of them."
    )


def _meter(explanation: Explanation) -> Iterator[str]:
    meter = explanation.numbers.meter
    yield "The meter"
    if meter is None:
        yield "  There is none; see the cautions."
        return
    verdict = "fine enough for its checks" if meter.fine_enough else "coarse for its checks"
    told = (
        f"{meter.meter} gives {meter.slowest_pulses_per_minute:.1f} pulses a minute at the slowest "
        f"bed: {verdict}. A leak of 0.1 L/min is found within {meter.leak_minutes:.0f} min."
    )
    yield from _para(for_people(told, explanation.units))


def _worst(explanation: Explanation) -> Iterator[str]:
    units = explanation.units
    found = explanation.numbers
    yield "The most that can ever be given in 24 hours, whoever asks"
    most_l = {bed.bed: min(bed.bed_l_day, bed.starts_l_day) for bed in found.beds}
    for bed in found.beds:
        whole = f"{_volume(most_l[bed.bed], units):>8}, no more than"
        yield f"{_name(bed.bed)} {whole} {_volume(bed.dose_l, units)} in one dose"
    site_l = min(found.site_l_day, sum(most_l.values()))
    yield f"{_name('all beds')} {_volume(site_l, units):>8}"


def _alarms(explanation: Explanation) -> Iterator[str]:
    ways = ["the page and MQTT", *explanation.alarms]
    yield from _para(f"Alarms are told by {', '.join(ways)}.", indent="")


def _cautions(explanation: Explanation) -> Iterator[str]:
    if not explanation.cautions:
        yield "Cautions: none beyond those at the end"
        return
    yield "Cautions"
    for caution in explanation.cautions:
        whose = f"{caution.bed}: " if caution.bed is not None else ""
        text = for_people(caution.text, explanation.units)
        yield from _para(whose + text, indent="    ", first="  - ")


def _timer(explanation: Explanation) -> Iterator[str]:
    yield "A plain timer for the days when this tool is away (grown plants, no rain)"
    timer = explanation.numbers.timer
    months = list(timer[0].every_days)
    heads = "".join(f"{calendar.month_abbr[month]:>5}" for month in months)
    yield f"{_name('')} {'':>9}  every so many days in{heads}"
    for line in timer:
        cells = "".join(f"{line.every_days[month]:>5}" for month in months)
        yield f"{_name(line.bed)} {span(line.minutes):>9}  {'':>21}{cells}"
    yield from _para("After a real rain miss a turn. Young plants want little and often.")


def _codes(explanation: Explanation) -> Iterator[str]:
    yield from _para(explanation.codes, indent="")
