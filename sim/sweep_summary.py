"""What a sweep came to: each policy and setting with its median and its whole range.

Ranges run from the lowest to the highest run; nothing is left out and nothing assumed about how
runs are spread. Settings are compared run by run with the first one: the same season, seed and
policy live in the same world (common random numbers), so that what chance gave both falls out.
Dawns past the floor and sudden rewettings are summed over all beds of a run.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any, NamedTuple

from sim.sweep_rows import Row

AS_IN_FILE = "as the file says"


class Band(NamedTuple):
    """A measure over several runs, in the unit of the measure."""

    median: float
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One column: what of a row it shows and how."""

    name: str
    head: str
    long_head: str
    width: int
    of: Callable[[Row], float]
    decimals: int
    scale_pct: float = 1.0


MEASURES = (
    Measure(
        name="litres",
        head="litres",
        long_head="litres",
        width=15,
        of=lambda row: row.litres,
        decimals=0,
    ),
    Measure(
        name="waterings",
        head="waterings",
        long_head="waterings",
        width=11,
        of=lambda row: row.waterings,
        decimals=1,
    ),
    Measure(
        name="dawns_past_floor",
        head="past floor",
        long_head="dawns past the floor",
        width=12,
        of=lambda row: row.dawns_past_floor,
        decimals=1,
    ),
    Measure(
        name="sudden_rewettings",
        head="rewetted",
        long_head="sudden rewettings",
        width=10,
        of=lambda row: row.sudden_rewettings,
        decimals=1,
    ),
    Measure(
        name="drained_frac",
        head="drained %",
        long_head="drained share, %",
        width=11,
        of=lambda row: row.drained_frac,
        decimals=1,
        scale_pct=100.0,
    ),
    Measure(
        name="relative_yield_frac",
        head="yield %",
        long_head="relative yield, %",
        width=13,
        of=lambda row: row.relative_yield_frac,
        decimals=1,
        scale_pct=100.0,
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Runs of one policy and setting (and season, where they are told apart), in bands.

    Attributes:
        policy: who watered.
        setting: what was varied, as words.
        season: or None where all are taken together.
        runs: how many.
        bands: by the measures' names; in a comparison the differences.
    """

    policy: str
    setting: str
    season: str | None
    runs: int
    bands: dict[str, Band]

    def json(self) -> dict[str, Any]:
        """As `sweep --json` prints it."""
        bands = {
            name: {key: round(value, 6) for key, value in band._asdict().items()}
            for name, band in self.bands.items()
        }
        return {
            "policy": self.policy,
            "setting": self.setting or None,
            "season": self.season,
            "runs": self.runs,
            **bands,
        }


def summary(rows: Iterable[Row], *, by_season: bool = False) -> list[Group]:
    """Bands of every policy and setting, in the order in which they come in the rows.

    Args:
        rows: in the order of the command line.
        by_season: whether seasons are told apart.
    """
    return [
        _group(which, [[measure.of(row) for row in found] for measure in MEASURES])
        for which, found in _grouped(rows, by_season).items()
    ]


def differences(rows: Sequence[Row], *, by_season: bool = False) -> list[Group]:
    """Every further setting less the first one, run by run on the same season, seed and policy.

    Args:
        rows: in the order of the command line.
        by_season: whether seasons are told apart.

    Returns:
        Empty where there is one setting; runs without their counterpart are left out.
    """
    first = next((row.setting for row in rows), "")
    base = {_world(row): row for row in rows if row.setting == first}
    others = [row for row in rows if row.setting != first and _world(row) in base]
    return [
        _group(
            which,
            [
                [measure.of(row) - measure.of(base[_world(row)]) for row in found]
                for measure in MEASURES
            ],
        )
        for which, found in _grouped(others, by_season).items()
    ]


def _world(row: Row) -> tuple[str, int, str]:
    return row.season, row.seed, row.policy


def _grouped(rows: Iterable[Row], by_season: bool) -> dict[tuple[str, str, str | None], list[Row]]:
    found: dict[tuple[str, str, str | None], list[Row]] = {}
    for row in rows:
        which = (row.policy, row.setting, row.season if by_season else None)
        found.setdefault(which, []).append(row)
    return found


def _group(which: tuple[str, str, str | None], values: Sequence[Sequence[float]]) -> Group:
    policy, setting, season = which
    bands = {
        measure.name: Band(median(found), min(found), max(found))
        for measure, found in zip(MEASURES, values, strict=True)
    }
    return Group(policy=policy, setting=setting, season=season, runs=len(values[0]), bands=bands)


def as_text(groups: Sequence[Group], *, signed: bool = False) -> str:
    """Bands for people, three lines a group.

    Args:
        groups: bands, or differences.
        signed: whether plus signs are written, as for differences.

    Returns:
        Lines of at most 80 columns, unless a setting has more words or a range more digits.
    """
    heads = "".join(f"{measure.head:>{measure.width}}" for measure in MEASURES)
    lines = [f"{'':8}{heads}"]
    for one in groups:
        lines.append(_named(one))
        medians, ranges = "  median", "  range "
        for measure in MEASURES:
            band = one.bands[measure.name]
            middle, low, high = (_number(measure, value, signed) for value in band)
            medians += f"{middle:>{measure.width}}"
            ranges += f"{f'{low}..{high}' if low != high else low:>{measure.width}}"
        lines += [medians, ranges]
    return "\n".join(lines)


def as_markdown(groups: Sequence[Group], *, signed: bool = False) -> str:
    """Bands as a table for a document: median, and in brackets lowest and highest.

    Args:
        groups: bands, or differences.
        signed: whether plus signs are written, as for differences.
    """
    with_setting = any(one.setting for one in groups)
    with_season = any(one.season is not None for one in groups)
    names = ["policy", *["setting"] * with_setting, *["season"] * with_season, "runs"]
    lines = [
        _row_of([*names, *(measure.long_head for measure in MEASURES)]),
        _row_of(["---"] * len(names) + ["---:"] * len(MEASURES)),
    ]
    for one in groups:
        cells = [f"`{one.policy}`"]
        cells += [f"`{one.setting}`" if one.setting else AS_IN_FILE] * with_setting
        cells += [one.season or ""] * with_season
        cells.append(str(one.runs))
        lines.append(_row_of([*cells, *(cell(m, one.bands[m.name], signed) for m in MEASURES)]))
    return "\n".join(lines)


def cell(measure: Measure, band: Band, signed: bool) -> str:
    """A band in one cell: median, and in brackets lowest and highest where they differ."""
    middle, low, high = (_number(measure, value, signed) for value in band)
    return middle if low == high else f"{middle} ({low} to {high})"


def _row_of(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _named(one: Group) -> str:
    parts = [one.policy, one.season, one.setting]
    runs = "1 run" if one.runs == 1 else f"{one.runs} runs"
    return f"{', '.join(part for part in parts if part)} ({runs})"


def _number(measure: Measure, value: float, signed: bool) -> str:
    scaled = round(value * measure.scale_pct, measure.decimals) + 0.0  # no minus before a zero
    text = f"{scaled:{'+' if signed and scaled else ''}.{measure.decimals}f}"
    return text.removesuffix(".0") if measure.scale_pct == 1.0 else text
