"""One picture a policy and bed: a season of soil, rain and water, as the world had them.

Each file is an SVG that opens by itself in a browser: no script, no font, nothing fetched. Places
along the season are per cent of the width, so it fills a phone as well as a wide screen and its
letters keep their size. True depletion runs downwards from full (0 %) to dry (100 %), rain hangs
from the top, and waterings stand below as drops on stems as high as their litres. Every mark has
its own shape: nothing is said by colour alone. Heights are px.
"""

from __future__ import annotations

import unicodedata
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from markupsafe import escape

from api import season_strip as strip
from api.page.words import bed_name, count, utc_s_of
from api.season_strip import Scale, day_name
from controller.errors import UsageError
from sim.season_account import DawnTruth, HourTruth, late_windows
from sim.season_run import PolicyRun, Replay, season_json

LEFT, AXIS = 14.0, 48.0  # px from the left: the words, and where the season begins
ACROSS_PCT = 84.0  # of the width for the season: what is left holds the axis on the smallest phone
TOLD_LATE_S = 600.0  # a watering is told at the next instant of the grid at the latest
NAME_MOST = 60  # characters of a name that a file or a title carries


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """What one picture shows.

    Args:
        name: the bed's id.
        policy: who watered.
        numbers: the bed's entry of `replay --json`.
        hours: its hours.
        dawns: its dawns.
        picks: days of planned picks.
    """

    name: str
    policy: str
    numbers: dict[str, Any]
    hours: Sequence[HourTruth]
    dawns: list[DawnTruth]
    picks: tuple[date, ...]

    def waterings(self) -> list[tuple[float, float]]:
        """When each watering began [s, Unix] and what it brought [L]."""
        began = [at for told in self.numbers["began"] if (at := utc_s_of(told)) is not None]
        litres = [0.0] * len(began)
        for hour in self.hours:
            index = bisect_right(began, hour.at_utc_s + TOLD_LATE_S) - 1
            if hour.irrigation_l > 0.0 and index >= 0:
                litres[index] += hour.irrigation_l
        return list(zip(began, litres, strict=True))


def make_folder(directory: Path) -> None:
    """Make the folder for the pictures, if it is not there.

    Raises:
        UsageError: it cannot be made.
    """
    try:
        directory.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        msg = f"{directory}: no pictures can be written there: {exc.strerror or exc}"
        raise UsageError(msg) from exc


def write_pictures(directory: Path, replay: Replay, runs: list[PolicyRun]) -> list[Path]:
    """Draw every bed under every policy.

    Args:
        directory: made if it is not there; files of the same names are written over.
        replay: what was replayed.
        runs: what each policy came to.

    Returns:
        The files, in the order of the policies and beds.

    Raises:
        UsageError: a file cannot be written there.
    """
    written: list[Path] = []
    make_folder(directory)
    try:
        for name, bed in named_beds(replay, runs):
            path = directory / f"{name}.svg"
            path.write_text(draw(replay, bed), encoding="utf-8")
            written.append(path)
    except OSError as exc:
        msg = f"{directory}: no pictures can be written there: {exc.strerror or exc}"
        raise UsageError(msg) from exc
    return written


def named_beds(replay: Replay, runs: Iterable[PolicyRun]) -> Iterator[tuple[str, Bed]]:
    """Each picture with a name that no other has, on file systems that know no case either."""
    taken: set[str] = set()
    for run in runs:
        for name, numbers in run.numbers["beds"].items():
            base = file_name(f"{run.name}-{name}")
            unique, more = base, 2
            while unique in taken:
                unique, more = f"{base}-{more}", more + 1
            taken.add(unique)
            yield (
                unique,
                Bed(
                    name=name,
                    policy=run.name,
                    numbers=numbers,
                    hours=run.hours.get(name, []),
                    dawns=run.dawns.get(name, []),
                    picks=tuple(replay.picks.get(name, ())),
                ),
            )


def file_name(text: str) -> str:
    """A text as small letters, digits and hyphens that any file system takes."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    kept = "".join(letter if letter.isalnum() else "-" for letter in plain)
    return "-".join(filter(None, kept.split("-")))[:NAME_MOST] or "bed"


def _shown(text: str) -> str:
    """A name as XML may carry it."""
    return str(escape("".join(filter(str.isprintable, text))[:NAME_MOST]))


def draw(replay: Replay, bed: Bed) -> str:
    """The picture of one bed.

    Args:
        replay: what was replayed.
        bed: what it shows.

    Returns:
        A whole SVG document.
    """
    span = replay.span
    scale = Scale(
        first=span.first,
        last=span.last,
        from_utc_s=span.from_utc_s,
        to_utc_s=span.to_utc_s,
        zone=replay.garden.garden.zone,
    )
    waterings = bed.waterings()
    late = late_windows(replay.garden, bed.picks)
    title, lines = _words(replay, bed)
    said = "".join(
        f'<text x="{LEFT:g}" y="{46 + 18 * row}">{line}</text>' for row, line in enumerate(lines)
    )
    entries = strip.entries_of(picks=bool(bed.picks))
    high = strip.LEGEND + strip.LEGEND_ROW * ((len(entries) + 1) // 2)
    frame = [
        strip.months_drawn(scale),
        strip.rain_drawn(scale, bed.hours),
        strip.soil_drawn(scale, bed.hours, bed.dawns),
        strip.picks_drawn(scale, late, bed.picks),
        strip.crosses_drawn(scale, bed.dawns),
        strip.waterings_drawn(scale, waterings),
        strip.legend_drawn(entries),
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="100%" height="{high:g}" role="img" '
        f'aria-labelledby="title desc"><title id="title">{title}</title>'
        f'<desc id="desc">{" ".join(f"{line}." for line in lines)} '
        f"{_desc(scale, bed, waterings)}</desc><style>{strip.STYLE}</style>"
        f'<defs>{strip.SHAPES}</defs><text class="name" x="{LEFT:g}" y="26">{title}</text>{said}'
        f'<svg x="{AXIS:g}" width="{ACROSS_PCT:g}%" height="{high:g}" overflow="visible">'
        f"{''.join(frame)}</svg></svg>\n"
    )


# -- words


def _words(replay: Replay, bed: Bed) -> tuple[str, list[str]]:
    season: dict[str, Any] = season_json(replay)
    first, last = replay.span.first, replay.span.last
    numbers = bed.numbers
    world = "a sure world" if replay.sure else f"world {replay.seed}"
    source = _shown(Path(season["source"]).name)
    past, many = numbers["days_past_floor"], numbers["waterings"]
    late = numbers["late_litres"]
    near = "" if late is None else f", {late:.0f} L late before picks"
    return f"{_shown(bed_name(bed.name))}, watered by {_shown(bed.policy)}", [
        f"{source}, {day_name(first)} to {day_name(last)} {last.year}, {world}",
        f"{numbers['litres']:.0f} L in {count(many, 'watering', 'waterings')}{near}",
        f"{count(past, 'dawn', 'dawns')} past the floor, "
        f"{100.0 * numbers['relative_yield']:.0f} % of the full yield",
    ]


def _desc(scale: Scale, bed: Bed, waterings: list[tuple[float, float]]) -> str:
    """The same in words, for those who cannot see the drawing."""
    driest = f"The driest hour had {100.0 * bed.numbers['max_depletion_frac']:.0f} % gone."
    crossed = [day_name(scale.day(dawn.at_utc_s)) for dawn in bed.dawns if dawn.past_floor]
    past = f" Past the floor at dawn on {', '.join(crossed)}." if crossed else ""
    days = ", ".join(f"{day_name(scale.day(at))} {litres:.0f} L" for at, litres in waterings)
    return driest + past + (f" Waterings: {days}." if days else " It was never watered.")
