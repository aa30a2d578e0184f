"""What a replay came to, as a table for people.

Every line fits 80 columns; nothing needs colour. A garden that is spoken of in US units is told of
in gallons and inches.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from controller.us_units import L_PER_GAL, for_people
from sim.replay import PolicyRun, Replay, season_json

COLUMNS = 80
BAR_WIDTH = 60
NAME_WIDTH = 15  # as long as `third-day-clock`
END_NEAR_FRAC = 0.05  # beds that end further apart in depletion did not do the same job
OURS, BEST = "thirstline", "hindsight"


@dataclass(frozen=True, slots=True)
class Tongue:
    """The units of the garden."""

    us: bool

    def water(self, litres: float) -> str:
        """A column's number."""
        return f"{litres / L_PER_GAL if self.us else litres:.0f}"

    @property
    def word(self) -> str:
        """A column's head."""
        return "gallons" if self.us else "litres"

    @property
    def short(self) -> str:
        """Behind a number."""
        return "gal" if self.us else "L"


def _bar(litres: float, most: float) -> str:
    return "#" * max(1, round(BAR_WIDTH * litres / most)) if most > 0.0 else ""


def _percent(frac: float | None) -> str:
    return "-" if frac is None else f"{100.0 * frac:.0f} %"


def _name(text: str) -> str:
    """A name in its column, cut where it is longer."""
    kept = text if len(text) <= NAME_WIDTH else f"{text[: NAME_WIDTH - 1]}…"
    return f"{kept:<{NAME_WIDTH}}"


def _policy_lines(numbers: list[dict[str, Any]], tongue: Tongue) -> list[str]:
    most = max((one["litres"] for one in numbers), default=0.0)
    lines = [
        f"{_name('policy')}{tongue.word:>8}{'waterings':>11}{'past floor':>14}{'rewetted':>10}"
        f"{'drained':>10}{'yield':>9}"
    ]
    for one in numbers:
        lines.append(
            f"{_name(one['name'])}{tongue.water(one['litres']):>8}{one['waterings']:>11}"
            f"{one['days_past_floor']:>8} dawns{one['sudden_rewettings']:>10}"
            f"{_percent(one['drained_share']):>10}{_percent(one['relative_yield']):>9}"
        )
        lines.append(f"  {_bar(one['litres'], most)}")
    return lines


def _bed_lines(one: dict[str, Any], tongue: Tongue, *, picks: bool) -> list[str]:
    lines = [
        "",
        f"{one['name']}, bed by bed",
        f"{_name('bed')}{tongue.word:>8}{'waterings':>11}{'days apart':>12}{'drained':>10}"
        f"{'driest':>8}{'yield':>8}" + (f"{'late':>8}" if picks else ""),
    ]
    for name, bed in one["beds"].items():
        between, late = bed["median_days_between"], bed["late_litres"]
        apart = "-" if between is None else f"{between:.1f}"
        said = "-" if late is None else f"{tongue.water(late)} {tongue.short}"
        shown = f"{said:>8}" if picks else ""
        drained = f"{tongue.water(bed['drained_l'])} {tongue.short}"
        lines.append(
            f"{_name(name)}{tongue.water(bed['litres']):>8}{bed['waterings']:>11}{apart:>12}"
            f"{drained:>10}{_percent(bed['max_depletion_frac']):>8}"
            f"{_percent(bed['relative_yield']):>8}{shown}"
        )
    return lines


def _why_not(ours: dict[str, Any], best: dict[str, Any]) -> str:
    """Why a bed cannot be held against hindsight; empty where it can."""
    past, allowed = ours["days_past_floor"], best["days_past_floor"]
    if past > allowed:
        return f"{past} dawn{'' if past == 1 else 's'} past the floor against {allowed}"
    apart = ours["end_depletion_frac"] - best["end_depletion_frac"]
    if not abs(apart) <= END_NEAR_FRAC:
        return f"ended {abs(apart):.2f} {'drier' if apart > 0.0 else 'wetter'}"
    return "" if best["litres"] > 0.0 else "hindsight gave it no water"


def near_hindsight(ours: dict[str, Any], best: dict[str, Any]) -> str:
    """How near Thirstline came to hindsight, in the beds where the two did the same job.

    Args:
        ours: numbers of `thirstline`.
        best: numbers of `hindsight`.

    Returns:
        Sentences; litres are compared only over beds with no more dawns past the floor and an end
        depletion within 0.05 of hindsight's, and the other beds are named with the reason.
    """
    reasons = {name: _why_not(bed, best["beds"][name]) for name, bed in ours["beds"].items()}
    alike = [name for name, why in reasons.items() if not why]
    others = "; ".join(f"{name}: {why}" for name, why in reasons.items() if why)
    if not alike:
        return f"Against perfect hindsight: no bed can be compared ({others})."
    given = sum(ours["beds"][name]["litres"] for name in alike)
    least = sum(best["beds"][name]["litres"] for name in alike)
    where = f" in {', '.join(alike)}, where both did the same job" if others else ""
    rest = f" Not comparable: {others}." if others else ""
    return f"Against perfect hindsight: {given / least:.2f} times its water{where}.{rest}"


def _late_lines(replay: Replay) -> list[str]:
    """What late water is, and the picks that the days replayed do not reach."""
    if not replay.picks:
        return []
    text = "Late: water in the three days before a planned pick."
    first, end = replay.span.first, replay.span.last + timedelta(days=1)
    missed = [
        f"{bed} {day}"
        for bed, days in replay.picks.items()
        for day in days
        if not first < day <= end
    ]
    if missed:
        text += f" Outside the days replayed, so not counted: {', '.join(missed)}."
    return ["", *textwrap.wrap(text, COLUMNS)]


def _listed(sentences: list[str]) -> list[str]:
    return [
        line
        for sentence in sentences
        for line in textwrap.wrap(
            sentence, COLUMNS, initial_indent="- ", subsequent_indent="  ", break_long_words=True
        )
    ]


def as_text(replay: Replay, runs: list[PolicyRun]) -> str:
    """A replay for people: the policies side by side, then each bed.

    Args:
        replay: what was replayed.
        runs: what each policy came to.

    Returns:
        Lines of at most 80 columns.
    """
    season: dict[str, Any] = season_json(replay)
    kind = "a sure world, exactly as the garden file says" if replay.sure else "an unsure world"
    numbers: list[dict[str, Any]] = [one.json() for one in runs]
    units = replay.garden.garden.units
    tongue = Tongue(us=units == "us")
    weather = (
        f"{season['source']}, {season['from']} to {season['to']}: {season['rain_mm']:.0f} mm of "
        f"rain, ETo {season['eto_mm']:.0f} mm."
    )
    lines = [
        *textwrap.wrap(for_people(weather, units), COLUMNS),
        f"Judged by {kind} (seed {replay.seed}).",
        "",
        *_policy_lines(numbers, tongue),
    ]
    by_name = {one["name"]: one for one in numbers}
    if OURS in by_name and BEST in by_name:
        lines += ["", *textwrap.wrap(near_hindsight(by_name[OURS], by_name[BEST]), COLUMNS)]
    for one in numbers:
        lines += _bed_lines(one, tongue, picks=bool(replay.picks))
    lines += _late_lines(replay)
    if season["estimated"]:
        lines += ["", "Filled in:", *_listed(season["estimated"])]
    return "\n".join(lines)
