"""Measured soil moisture from Hesse through the engine's own quality control, against a list.

`python -m sim.hesse_flags` replays three years of hourly contents at 25 and 40 cm (`sim.
hesse_probes`) as two virtual probes of one bed, with the rain and weather of the station beside
them (`sim.season_hesse`), and holds the flags that stand up against a list of what is to be seen in
the curves. The list was written before any screening ran on them:
`tests/reference/hesse_flags_expected.toml`, so the command runs in a checkout. Twice: with the
column for 25 cm moved back to its time, and as the file is delivered, where it tells of each rain
six days before it falls.

The bed is no tomato bed: silt loam by class, not fitted; its valve is never opened. A person looks
at a probe `LOOKED_D` days after an alert that asks for one, and lifts it.

Raised: a flag that begins to stand, or is raised once more while it stands. Others: those that
begin to stand and belong to nothing on the list; those that become an alert apart from those that
are only counted (a reading that was refused once).
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from controller.engine import Engine
from controller.errors import UsageError
from controller.events import LinkUp, Order, OrderKind, ProbeReading, Started, WeatherReading
from controller.garden import Garden
from controller.sensing.flags import FLAGS, Flag
from controller.state import ProbeState
from sim.hesse_probes import AHEAD_25_H, FIRST, read_probes
from sim.season_hesse import STATION, YEARS, read_hesse
from sim.season_open import HESSE
from sim.season_types import HOUR_S, HourRow

LIST = Path(__file__).resolve().parent.parent / "tests" / "reference" / "hesse_flags_expected.toml"
MOVED, DELIVERED = "moved", "as delivered"
BOTH = "both"
SERIES = (MOVED, DELIVERED)
DEPTHS_CM = (25, 40)
LOOKED_D = 2.0
MAST, PERSON = "mast", "grower"


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """One line of the list.

    Args:
        series: `moved`, `as delivered`, or `both` for the column that is the same in either.
        depth_cm: which probe [cm].
        day: when, by the file's clock.
        within_days: how far off it may be raised, either way [d].
        flags: any one of them is the finding.
        seen: what the curve shows there.
        was: what was written first, where a run led to a change.
        why: the reason for it.
    """

    series: str
    depth_cm: int
    day: date
    within_days: int
    flags: tuple[Flag, ...]
    seen: str
    was: tuple[str, ...] = ()
    why: str = ""

    def met_by(self, one: Raised) -> bool:
        """Whether a flag is this finding."""
        days = abs((one.at.date() - self.day).days)
        return (
            self.series in (one.series, BOTH)
            and one.depth_cm == self.depth_cm
            and one.flag in self.flags
            and days <= self.within_days
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Raised:
    """One flag as the engine raised it.

    `at` goes by the file's clock; `began` tells that it did not stand before.
    """

    series: str
    depth_cm: int
    at: datetime
    flag: Flag
    began: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """A list held against what was raised.

    Args:
        found: each line of the list with the first flag that meets it, None where there is none.
        others: flags that began to stand and meet no line.
        months: how long the replay was [months].
    """

    found: tuple[tuple[Expected, Raised | None], ...]
    others: tuple[Raised, ...]
    months: int

    def others_of(self, series: str, depth_cm: int, *, alarm: bool) -> tuple[Raised, ...]:
        """The others of one probe: those that become an alert, or those that are only counted."""
        own = [one for one in self.others if (one.series, one.depth_cm) == (series, depth_cm)]
        return tuple(one for one in own if FLAGS[one.flag].alarm is alarm)


def read_list(path: Path = LIST) -> tuple[Expected, ...]:
    """Read the list.

    Raises:
        UsageError: it is missing, or says what nobody knows.
    """
    try:
        rows = tomllib.loads(path.read_text(encoding="utf-8"))["expected"]
        return tuple(_expected(row) for row in rows)
    except (OSError, KeyError, TypeError, ValueError) as error:
        msg = f"{path.name}: {error}; the list of expected flags lies in a checkout's tests"
        raise UsageError(msg) from error


def _expected(row: dict[str, Any]) -> Expected:
    if row["series"] not in (*SERIES, BOTH) or row["depth_cm"] not in DEPTHS_CM:
        msg = f"{row['series']}, {row['depth_cm']} cm is no series here"
        raise ValueError(msg)
    flags, was = tuple(Flag(code) for code in row["flags"]), tuple(row.get("was", ()))
    return Expected(**{**row, "flags": flags, "was": was})


def meadow() -> Garden:
    """The garden that the two probes stand in."""
    info = {
        "id": "meadow",
        "latitude": STATION.latitude_deg,
        "longitude": STATION.longitude_deg,
        "elevation_m": STATION.elevation_m,
        "timezone": STATION.timezone,
    }
    bed = {
        "transplanted": "2014-05-01",
        "plants": 4,
        "spacing_m": 0.6,
        "width_m": 1.2,
        "soil": "silt loam",
        "emitters": 12,
        "emitter_l_h": 2.0,
        "valve": "never",
        "probes": [_probe(depth) for depth in DEPTHS_CM],
    }
    every = {"kind": "theta_m3_m3", "every_s": HOUR_S}
    return Garden.model_validate(
        {
            "garden": info,
            "supply": {"flow_l_min": 14.0},
            "beds": {"meadow": bed},
            "probes": {_probe(depth): {**every, "depth_cm": depth} for depth in DEPTHS_CM},
            "valves": {"never": {}},
            "weather": {MAST: {}},
        }
    )


def _probe(depth_cm: int) -> str:
    return f"meadow-{depth_cm}"


def weather() -> tuple[HourRow, ...]:
    """The station's hours of all three years, one for each row of the probes' file."""
    begin_s, end_s = FIRST.timestamp() - HOUR_S, datetime(2017, 1, 1, tzinfo=UTC).timestamp()
    hours: list[HourRow] = []
    for year in YEARS:
        last_s = datetime(year + 1, 1, 1, tzinfo=UTC).timestamp() - HOUR_S
        for row in read_hesse(HESSE.path(), year).hours:
            if begin_s <= row.at_utc_s < min(last_s, end_s - HOUR_S):
                hours.append(row)
        begin_s = last_s
    return tuple(hours)


def contents(series: str) -> dict[int, tuple[float, ...]]:
    """The two probes' hours [m3/m3], NaN where there is none."""
    theta = read_probes()
    if series == MOVED:
        return {depth: theta[depth] for depth in DEPTHS_CM}
    ahead = theta[25][AHEAD_25_H:]  # the file's last hours of it are past the end of the others
    return {25: (*ahead, *[math.nan] * AHEAD_25_H), 40: theta[40]}


def replayed(
    series: str, theta: dict[int, tuple[float, ...]], hours: Sequence[HourRow]
) -> Iterator[Raised]:
    """Live through the series and tell each flag as it is raised.

    Args:
        series: its name.
        theta: by depth, as many as `hours` [m3/m3].
        hours: the weather.
    """
    engine, begin_s = Engine(meadow()), hours[0].at_utc_s
    engine.step(Started(at_utc_s=begin_s, mono_s=0.0, trusted_s=0.0, stored_epoch=0, armed=False))
    engine.step(LinkUp(at_utc_s=begin_s, mono_s=0.0))
    rain_mm, probes = 0.0, engine.state.probes
    known = {depth: _Memory(probes[_probe(depth)]) for depth in DEPTHS_CM}
    for i, row in enumerate(hours):
        rain_mm += row.rain_mm
        _live_an_hour(engine, row, begin_s, rain_mm, {d: theta[d][i] for d in DEPTHS_CM})
        at = datetime.fromtimestamp(row.at_utc_s + HOUR_S, tz=UTC)
        for depth, memory in known.items():
            for flag, new in memory.news(probes[_probe(depth)]):
                yield Raised(series=series, depth_cm=depth, at=at, flag=flag, began=new)


def _live_an_hour(
    engine: Engine, row: HourRow, begin_s: float, rain_mm: float, told: dict[int, float]
) -> None:
    """The mast, the probes, and the person who looks after an alert."""
    at_utc_s, mono_s = row.at_utc_s, row.at_utc_s - begin_s
    engine.step(
        WeatherReading(
            at_utc_s=at_utc_s,
            mono_s=mono_s,
            mast=MAST,
            temp_c=row.temp_c,
            rh_pct=row.rh_pct,
            rain_mm_total=rain_mm,
            solar_w_m2=row.solar_w_m2,
            wind_m_s=row.wind_m_s,
        )
    )
    for depth, value in told.items():
        if math.isfinite(value):
            probe = _probe(depth)
            engine.step(ProbeReading(at_utc_s=at_utc_s, mono_s=mono_s, probe=probe, value=value))
    for alert in list(engine.state.alerts.values()):
        old_s = at_utc_s - alert.since_utc_s
        if alert.code == "probe_suspect" and alert.person_needed and old_s >= LOOKED_D * 86_400.0:
            engine.step(
                Order(
                    at_utc_s=at_utc_s,
                    mono_s=mono_s,
                    order=f"look-{at_utc_s:.0f}",
                    what=OrderKind.CLEAR,
                    who=PERSON,
                    alert=alert.id,
                    why="looked at the probe",
                )
            )


class _Memory:
    """What a probe's flags were when they were last looked at."""

    def __init__(self, probe: ProbeState) -> None:
        self.counts, self.since = dict(probe.counts), dict(probe.flags)

    def news(self, probe: ProbeState) -> list[tuple[Flag, bool]]:
        """The flags raised since, and whether each began to stand."""
        if probe.counts == self.counts:
            return []
        found = [
            (Flag(code), probe.flags.get(code) != self.since.get(code) or code not in probe.flags)
            for code, count in probe.counts.items()
            if count != self.counts.get(code, 0)
        ]
        self.counts, self.since = dict(probe.counts), dict(probe.flags)
        return found


def compared(expected: Sequence[Expected], raised: Sequence[Raised], months: int) -> Compared:
    """Hold a list against what was raised.

    Args:
        expected: the list.
        raised: every flag of the replays that it speaks of.
        months: the length of a replay.
    """
    found = tuple((line, next(filter(line.met_by, raised), None)) for line in expected)
    others = tuple(
        one for one in raised if one.began and not any(line.met_by(one) for line in expected)
    )
    return Compared(found=found, others=others, months=months)


def measured(path: Path = LIST) -> Compared:
    """Replay both series and hold the list against them.

    Raises:
        SeasonError: the package with the series is missing.
        UsageError: the list is.
    """
    expected, hours = read_list(path), weather()
    raised = [one for name in SERIES for one in replayed(name, contents(name), hours)]
    return compared(expected, raised, 12 * len(YEARS))


def _lines(result: Compared) -> str:
    lines = [f"{'series':<13} {'depth':>5}  {'seen on':<10}  {'raised':<16}  flag"]
    for line, one in result.found:
        came = "not raised" if one is None else f"{one.at:%Y-%m-%d %H:%M}"
        flag = " or ".join(line.flags) if one is None else one.flag.value
        lines.append(f"{line.series:<13} {line.depth_cm:>3}cm  {line.day}  {came:<16}  {flag}")
        if one is None:
            lines.append(f"    {line.seen}")
    met = sum(one is not None for _, one in result.found)
    lines.append(f"\n{met} of {len(result.found)} on the list raised.\n\nOthers:")
    for series in SERIES:
        for depth in DEPTHS_CM:
            own = result.others_of(series, depth, alarm=True)
            mute = len(result.others_of(series, depth, alarm=False))
            kinds = sorted(Counter(one.flag.value for one in own).items())
            lines.append(
                f"{series:<13} {depth:>3}cm  {len(own)} alerts, {len(own) / result.months:.2f} a"
                f" month ({', '.join(f'{n} {code}' for code, n in kinds)});"
                f" {mute} only counted, {mute / result.months:.2f} a month"
            )
            lines += [f"    {one.at:%Y-%m-%d %H:%M}  {one.flag.value}" for one in own]
    return "\n".join(lines)


def _json(result: Compared) -> dict[str, Any]:
    def told(one: Raised) -> dict[str, Any]:
        at = f"{one.at:%Y-%m-%d %H:%M}"
        return {"series": one.series, "depth_cm": one.depth_cm, "at": at, "flag": one.flag.value}

    return {
        "months": result.months,
        "expected": [
            {
                "series": line.series,
                "depth_cm": line.depth_cm,
                "day": line.day.isoformat(),
                "flags": [flag.value for flag in line.flags],
                "raised": None if one is None else told(one),
            }
            for line, one in result.found
        ],
        "others": [told(one) for one in result.others],
    }


def main(words: Sequence[str] | None = None) -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(
        prog="python -m sim.hesse_flags",
        description="Measured soil moisture through the quality control, against a list.",
    )
    parser.add_argument("--list", type=Path, default=LIST, help="another list (TOML)")
    parser.add_argument("--json", action="store_true", help="print an object instead of lines")
    told = parser.parse_args(words)
    result = measured(told.list)
    sys.stdout.write((json.dumps(_json(result)) if told.json else _lines(result)) + "\n")


if __name__ == "__main__":
    main()
