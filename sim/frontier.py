"""What less water costs: litres against dawns past the floor and against yield, `lean` swept.

    python -m sim.frontier [--kind sure drawn] [--lean 0 0.25 0.5 0.75 1] [--seeds N | --seeds A-B]
        [--weather NAME ...] [--case NAME] [--out FOLDER] [--jobs J] [--json]

Hollin Lane, every bed with the same `lean`, under the tool and under `hindsight` with the same
lines and floors; and under `hindsight` with `lean` 0.5 kept 0.05 to 0.25 of the available water
further off its floor (`KEPT_OFF_FRAC`), which is about the least water that a better yield takes.
Litres are to `hindsight` in the same world, median over bed-seasons: in the table with the same
`lean`, in the pictures with `lean` 0.5 throughout, as lean itself moves line and floor.

FOLDER keeps the runs (`sure.csv`, `drawn.csv`; what stands there is not run again) and gets the
pictures `frontier_floor.svg` and `frontier_yield.svg`, one panel a kind of world. Dark: the tool;
grey: `hindsight`, at its floor and kept off it.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from pathlib import Path
from statistics import fmean, median

from controller.errors import ThirstlineError
from sim.examples import find_garden
from sim.pictures import Axis, Panel, picture, ticks_of
from sim.policy_trials import CASES, STANDARD, cases_named, garden_of
from sim.rival_run import KEPT_OFF_FRAC
from sim.sureness import seeds_of
from sim.sweep import Sweep
from sim.sweep_rows import BedRow, Row
from sim.sweep_vary import Setting, Vary, settings_of
from sim.trial_runs import Runs

KINDS = ("sure", "drawn")
LEANS = ("0", "0.25", "0.5", "0.75", "1")
BASE_LEAN = "0.5"
WEATHER = ("seattle-2015", "ewr-2013")
SEEDS = 4
BEST, OURS = "hindsight", "thirstline"


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One place on the frontier.

    Attributes:
        who: the tool, or hindsight as near its floor as it says.
        lean: of every bed.
        bed_seasons: how many count.
        to_same_frac: litres to hindsight's with the same lean, the median [-].
        to_base_frac: litres to hindsight's with lean 0.5, the median [-].
        past_floor_d: dawns past the floor, a bed-season's mean.
        any_past_frac: bed-seasons with such a dawn [0..1].
        relative_yield_frac: the median [0..1].
        waterings: the median.
    """

    who: str
    lean: str
    bed_seasons: int
    to_same_frac: float
    to_base_frac: float
    past_floor_d: float
    any_past_frac: float
    relative_yield_frac: float
    waterings: int


World = tuple[str, int]
Beds = Mapping[tuple[str, str], Mapping[tuple[World, str], BedRow]]


def beds_of(rows: Iterable[Row]) -> Beds:
    """Bed-seasons by setting and policy, each by its world and bed."""
    found: dict[tuple[str, str], dict[tuple[World, str], BedRow]] = {}
    for row in rows:
        mine = found.setdefault((row.setting, row.policy), {})
        mine.update({((row.season, row.seed), name): bed for name, bed in row.beds})
    return found


def words_of(lean: str) -> str:
    """The setting of a lean, as a sweep says it."""
    return f"lean={lean}"


def points(rows: Iterable[Row], leans: Sequence[str]) -> list[Point]:
    """The tool at each lean, then hindsight at its floor and kept off it.

    Args:
        rows: of all runs; what was not run at all has no point, and only worlds count that all
            the others lived in.
        leans: as they were swept, with the base among them.
    """
    beds = beds_of(rows)
    asked = [(OURS, lean) for lean in leans]
    asked += [(who, BASE_LEAN) for who in (BEST, *KEPT_OFF_FRAC)]
    needed = [beds[words_of(lean), who] for who, lean in asked if (words_of(lean), who) in beds]
    needed += [beds[words_of(lean), BEST] for lean in leans if (words_of(lean), BEST) in beds]
    base = beds.get((words_of(BASE_LEAN), BEST), {})
    common = sorted(set(base).intersection(*needed))
    found = []
    for who, lean in asked:
        mine, same = (beds.get((words_of(lean), one)) for one in (who, BEST))
        if common and mine is not None and same is not None:
            found.append(_point(who, lean, [(mine[k], same[k], base[k]) for k in common]))
    return found


def _point(who: str, lean: str, found: Sequence[tuple[BedRow, BedRow, BedRow]]) -> Point:
    return Point(
        who=who,
        lean=lean,
        bed_seasons=len(found),
        to_same_frac=median(_ratio(mine, same) for mine, same, _ in found),
        to_base_frac=median(_ratio(mine, base) for mine, _, base in found),
        past_floor_d=fmean(mine.dawns_past_floor for mine, _, _ in found),
        any_past_frac=fmean(mine.dawns_past_floor > 0 for mine, _, _ in found),
        relative_yield_frac=median(mine.relative_yield_frac for mine, _, _ in found),
        waterings=round(median(mine.waterings for mine, _, _ in found)),
    )


def _ratio(mine: BedRow, other: BedRow) -> float:
    return mine.litres / other.litres if other.litres > 0.0 else math.inf


def at_yield(found: Sequence[Point], relative_yield: float) -> float | None:
    """Litres of hindsight kept so far off its floor that it has a yield, to itself at its floor.

    Args:
        found: points of one kind of world.
        relative_yield: the yield [0..1].

    Returns:
        Straight between the points; None beyond them.
    """
    line = sorted((one.relative_yield_frac, one.to_base_frac) for one in found if one.who != OURS)
    for (low, less), (high, more) in pairwise(line):
        if low <= relative_yield <= high:
            part = (relative_yield - low) / (high - low) if high > low else 0.0
            return less + part * (more - less)
    return None


def as_markdown(kinds: Mapping[str, Sequence[Point]]) -> str:
    """The table: a line a point; beside ours what hindsight takes for the same yield."""
    lines = [
        "| world | who | lean | bed-seasons | litres to `hindsight` | litres to it at lean 0.5 |"
        " least for that yield | dawns past floor | bed-seasons with any | yield | waterings |",
        "|---|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|",
    ]
    for kind, found in kinds.items():
        for one in found:
            least = at_yield(found, one.relative_yield_frac) if one.who == OURS else None
            shares = [f"{one.to_same_frac:.3f}", f"{one.to_base_frac:.3f}"]
            shares.append("" if least is None else f"{least:.3f}")
            past = [f"{one.past_floor_d:.2f}", f"{one.any_past_frac:.3f}"]
            ends = [f"{one.relative_yield_frac:.3f}", f"{one.waterings}"]
            cells = [kind, f"`{one.who}`", one.lean, f"{one.bed_seasons}", *shares, *past, *ends]
            lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def _panel(kind: str, found: Sequence[Point], across: str) -> Panel:
    ours = [one for one in found if one.who == OURS]
    best = [one for one in found if one.who != OURS]
    return Panel(
        title=f"{kind} worlds, {found[0].bed_seasons} bed-seasons",
        x=tuple(getattr(one, across) for one in ours),
        grey=(),
        dark=tuple(one.to_base_frac for one in ours),
        apart=(
            (
                tuple(getattr(one, across) for one in best),
                tuple(one.to_base_frac for one in best),
            ),
        ),
        marks=tuple(one.lean for one in ours),
    )


def pictures(kinds: Mapping[str, Sequence[Point]]) -> dict[str, str]:
    """The pictures by name of file, SVG text; none where nothing was found."""
    every = [one for found in kinds.values() for one in found]
    if not every:
        return {}
    up = Axis(
        "litres to hindsight at lean 0.5",
        ticks_of([one.to_base_frac for one in every], 0.1),
        ".1f",
    )
    axes = {
        "frontier_floor.svg": ("past_floor_d", "dawns past the floor, a bed-season", 0.5),
        "frontier_yield.svg": ("relative_yield_frac", "relative yield", 0.05),
    }
    drawn = {}
    for name, (across, label, step) in axes.items():
        ticks = ticks_of([getattr(one, across) for one in every], step)
        panels = [_panel(kind, found, across) for kind, found in kinds.items() if found]
        title = "Less water, at what cost: ours dark, hindsight grey"
        drawn[name] = picture(title, Axis(label, ticks, "g"), up, panels)
    return drawn


def _asked(argv: Sequence[str] | None) -> argparse.Namespace:
    ask = argparse.ArgumentParser(prog="python -m sim.frontier", description=__doc__)
    ask.formatter_class = argparse.RawDescriptionHelpFormatter
    ask.add_argument("--kind", nargs="+", choices=KINDS, default=list(KINDS))
    ask.add_argument("--lean", nargs="+", default=list(LEANS))
    ask.add_argument("--seeds", type=seeds_of, default=range(1, SEEDS + 1), help="N or A-B")
    ask.add_argument("--weather", nargs="+", default=list(WEATHER))
    ask.add_argument("--case", default=STANDARD.name, help=", ".join(one.name for one in CASES))
    ask.add_argument("--out", type=Path, help="a folder for runs and pictures")
    ask.add_argument("--jobs", type=int, default=None, help="processes; else one a core")
    ask.add_argument("--json", action="store_true", help="one JSON document, nothing else")
    return ask.parse_args(argv)


def lived(asked: argparse.Namespace, kind: str, leans: Sequence[str]) -> list[Row]:
    """Run all that is asked for in one kind of world and does not stand in the folder yet."""
    (case,) = cases_named([asked.case])
    document = tomllib.loads(find_garden("hollin-lane").read_text(encoding="utf-8"))
    garden = garden_of(case, document)
    told = garden.model_dump(mode="json", exclude_unset=True)
    settings = settings_of(told, [Vary(key="lean", values=tuple(leans))])
    base = [one for one in settings if one.words == words_of(BASE_LEAN)]

    def sweep(some: Sequence[Setting], policies: tuple[str, ...]) -> Sweep:
        return Sweep(
            settings=tuple(some),
            seasons=tuple(asked.weather),
            seeds=(1,) if kind == "sure" else tuple(asked.seeds),
            policies=policies,
            sure=kind == "sure",
        )

    out = None if asked.out is None else asked.out / f"{kind}.csv"
    planned = [sweep(settings, (OURS, BEST)), sweep(base, tuple(KEPT_OFF_FRAC))]
    return Runs(out=out, jobs=asked.jobs).of(garden, planned)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the sweep, print the table and draw the pictures.

    Args:
        argv: the words after the command; the process's own where None.

    Returns:
        0, or 2 for wrong use.
    """
    asked = _asked(argv)
    leans = list(dict.fromkeys([*asked.lean, BASE_LEAN]))
    try:
        if asked.out is not None:
            asked.out.mkdir(parents=True, exist_ok=True)
        kinds = {kind: points(lived(asked, kind, leans), leans) for kind in asked.kind}
    except (ThirstlineError, OSError) as exc:
        sys.stderr.write(f"{exc}\n")
        return 2
    if asked.out is not None:
        for name, text in pictures(kinds).items():
            (asked.out / name).write_text(text, encoding="utf-8")
    if asked.json:
        told = {kind: [asdict(one) for one in found] for kind, found in kinds.items()}
        sys.stdout.write(json.dumps(told) + "\n")
    else:
        sys.stdout.write(as_markdown(kinds) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
