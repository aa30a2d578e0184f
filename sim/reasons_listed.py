"""The decisions of a whole season, listed by reason as the grower reads them, and counted.

    python -m sim.reasons_listed [--weather NAME] [--seed N | --sure] [--garden NAME] [--full]
        [--json]

A season is lived through the real engine. Shortly before the end of each night's hours every
growing bed tells its answer of that night: a yes if it was given one, else what it was last told,
with the sentences on what would change it. Listed are: each reason with its nights and its first
and last sentence; reasons that repeat over more than seven nights running, and whether on each of
these nights the grower was told what would change or end it; changes of mind within a night (a
judged not-yet that became a yes, or a yes that came to nothing); nights on which a bed that was due
waited, and the longest such row. `--full` prints every night's sentence as well.

`--json` prints an object: `garden`, `weather`, `seed` (null where sure), `nights` (bed-nights),
`reasons` (`{code: {nights, first, last}}`), `repeats` (a list of `bed, code, nights, from,
explained`), `changes` (`bed, night, from, to`), `postponed` (`nights, longest, by {code: n}`) and
`unexplained` (number of repeats).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby, pairwise
from typing import Any, Final

from controller.bed_views import place_of, view_of
from controller.coming import outlook_of
from controller.errors import ThirstlineError
from controller.garden import load_garden
from controller.watering.decision import UNJUDGED, YES, Reason
from controller.watering.hours import Window, window_at
from sim.examples import find_garden
from sim.hands import TimedNote
from sim.replay import GRID_S, EngineReplay
from sim.season_run import Replay, prepare

REPEATS_OVER = 7  # nights running
POSTPONES: Final = frozenset(  # a bed that is due waits
    {
        Reason.RAIN_COMING,
        Reason.RAINING,
        Reason.PICK_HOLD,
        Reason.MISSED,
        Reason.NO_WATER_DAY,
        Reason.WEEK_SPENT,
        Reason.TANK_LOW,
        Reason.NIGHT_SHORT,
        Reason.CAP_SPENT,
        Reason.TOO_SMALL,
    }
)
FOLLOWS: Final = frozenset({Reason.WATERED_TONIGHT, Reason.NIGHT_OVER})  # from a yes
NOT_THE_BED: Final = frozenset({Reason.NOT_PLANTED, Reason.CLEARED, Reason.OUTSIDE_HOURS})


@dataclass(frozen=True, slots=True, kw_only=True)
class BedNight:
    """What one bed was told in one night.

    Attributes:
        bed: which.
        night: the local date on which the hours end.
        code: the answer's reason.
        text: its sentence.
        would_change: the sentences on what would change it.
        said: the reasons that were noted in that night, in order.
    """

    bed: str
    night: date
    code: str
    text: str
    would_change: tuple[str, ...]
    said: tuple[str, ...]


def lived(replay: Replay) -> list[BedNight]:
    """Live a season and take down every bed's answer of every night, in order of time."""
    live = EngineReplay(replay.garden, replay.world(), replay.span)
    run = live.engine.run
    hours, place = replay.garden.garden.hours, place_of(run)
    found: list[BedNight] = []
    window = window_at(hours, place, replay.span.from_utc_s)
    noted = 0
    while window.to_utc_s <= replay.span.to_utc_s:
        steps = (window.to_utc_s - replay.span.from_utc_s - 1.0) // GRID_S
        live.go(replay.span.from_utc_s + steps * GRID_S)
        notes = live.hands.notes[noted:]
        noted += len(notes)
        found += _night(live, window, notes)
        window = window_at(hours, place, window.to_utc_s)
    return found


def _night(live: EngineReplay, window: Window, notes: Sequence[TimedNote]) -> Iterator[BedNight]:
    """Every growing bed's answer of the night that ends."""
    run = live.engine.run
    day = run.local_day(window.to_utc_s)
    for bed, setting in live.garden.beds.items():
        gone = setting.cleared is not None and day >= setting.cleared
        if day <= setting.transplanted or gone:
            continue
        said = [
            one.note
            for one in notes
            if one.note.what == "decision"
            and one.note.bed == bed
            and window.holds(one.at_utc_s)
            and one.note.code not in NOT_THE_BED
        ]
        last = run.state.beds[bed].said
        code, text = last.code, last.text
        for note in said:
            if note.code in YES:
                code, text = note.code, note.text
        turns = outlook_of(run, view_of(run, bed, window), window).turns
        yield BedNight(
            bed=bed,
            night=day,
            code=code,
            text=text,
            would_change=tuple(one.text for one in turns),
            said=tuple(note.code for note in said),
        )


def repeats(nights: Sequence[BedNight]) -> list[dict[str, Any]]:
    """Reasons of one bed that repeat over more than `REPEATS_OVER` nights running."""
    found = []
    for bed, mine in groupby(sorted(nights, key=lambda one: (one.bed, one.night)), _bed_of):
        for code, row in groupby(mine, lambda one: one.code):
            told = list(row)
            if len(told) <= REPEATS_OVER:
                continue
            found.append(
                {
                    "bed": bed,
                    "code": code,
                    "nights": len(told),
                    "from": told[0].night.isoformat(),
                    "explained": all(one.would_change for one in told),
                }
            )
    return found


def _bed_of(one: BedNight) -> str:
    return one.bed


def changes(nights: Sequence[BedNight]) -> list[dict[str, str]]:
    """Changes of mind within a night, between answers that were meant to stand for it."""
    found = []
    for one in nights:
        stood = [code for code in one.said if code not in UNJUDGED]  # others are asked again
        for before, after in pairwise(stood):
            if (before in YES) != (after in YES) and after not in FOLLOWS and before not in FOLLOWS:
                found.append(
                    {"bed": one.bed, "night": one.night.isoformat(), "from": before, "to": after}
                )
    return found


def postponed(nights: Sequence[BedNight]) -> dict[str, Any]:
    """Nights on which a bed that was due waited."""
    by: dict[str, int] = {}
    longest = 0
    for _, mine in groupby(sorted(nights, key=lambda one: (one.bed, one.night)), _bed_of):
        for waits, row in groupby(mine, lambda one: one.code in POSTPONES):
            told = list(row)
            if not waits:
                continue
            longest = max(longest, len(told))
            for one in told:
                by[one.code] = by.get(one.code, 0) + 1
    return {"nights": sum(by.values()), "longest": longest, "by": by}


def summary(nights: Sequence[BedNight]) -> dict[str, Any]:
    """All that is counted."""
    reasons: dict[str, dict[str, Any]] = {}
    for one in nights:
        row = reasons.setdefault(one.code, {"nights": 0, "first": one.text, "last": ""})
        row["nights"] += 1
        row["last"] = one.text
    repeated, changed = repeats(nights), changes(nights)
    silent = sum(not one["explained"] for one in repeated)
    return {
        "nights": len(nights),
        "reasons": dict(sorted(reasons.items(), key=lambda row: -row[1]["nights"])),
        "repeats": repeated,
        "changes": changed,
        "postponed": postponed(nights),
        "unexplained": silent,
    }


def _lines(found: dict[str, Any]) -> str:
    """The same for people."""
    lines = [f"{found['nights']} bed-nights.", ""]
    for code, row in found["reasons"].items():
        lines += [f"{row['nights']:5d}  {code}", f"       {row['first']}"]
        if row["last"] != row["first"]:
            lines.append(f"       {row['last']}")
    lines += ["", f"Over {REPEATS_OVER} nights running: {len(found['repeats'])}"]
    lines += [
        f"  {one['bed']:12s} {one['code']:16s} {one['nights']:3d} nights from {one['from']}"
        f"{'' if one['explained'] else '  NOT EXPLAINED'}"
        for one in found["repeats"]
    ]
    lines += ["", f"Changes of mind within a night: {len(found['changes'])}"]
    lines += [
        f"  {one['bed']:12s} {one['night']}  {one['from']} -> {one['to']}"
        for one in found["changes"]
    ]
    late = found["postponed"]
    by = ", ".join(f"{code} {count}" for code, count in late["by"].items()) or "none"
    lines += ["", f"Due and waiting: {late['nights']} nights, {late['longest']} running: {by}"]
    lines += [f"Repeats without an explanation: {found['unexplained']}"]
    return "\n".join(lines)


def _every(nights: Sequence[BedNight]) -> str:
    """Each night's sentence, bed by bed, and what would change it."""
    lines = []
    for one in sorted(nights, key=lambda told: (told.bed, told.night)):
        lines.append(f"{one.night} {one.code:16s} {one.text}")
        lines += [f"{'':29s}- {text}" for text in one.would_change]
    return "\n".join(lines)


def main(words: Sequence[str] | None = None) -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(
        prog="python -m sim.reasons_listed",
        description="A season's decisions by reason, as the grower reads them.",
    )
    parser.add_argument("--weather", default="seattle-2015", help="a season")
    parser.add_argument("--seed", type=int, default=1, help="draws the world")
    parser.add_argument("--sure", action="store_true", help="the world as the garden file says")
    parser.add_argument("--garden", default="hollin-lane", help="a garden file or an example")
    parser.add_argument("--full", action="store_true", help="print every night's sentence")
    parser.add_argument("--json", action="store_true", help="print an object instead of lines")
    told = parser.parse_args(words)
    try:
        garden = load_garden(find_garden(told.garden))
        nights = lived(prepare(garden, told.weather, seed=told.seed, sure=told.sure))
    except ThirstlineError as exc:
        parser.error(str(exc))
    found = summary(nights)
    if told.json:
        head = {
            "garden": told.garden,
            "weather": told.weather,
            "seed": None if told.sure else told.seed,
        }
        sys.stdout.write(json.dumps(head | found) + "\n")
        return
    every = f"{_every(nights)}\n\n" if told.full else ""
    sys.stdout.write(f"{every}{_lines(found)}\n")


if __name__ == "__main__":
    main()
