"""How fast a season goes by, and what of that is the controller's own doing.

    python -m sim.pace [--days N] [--repeats N] [--json]

One season in one process: the example garden `hollin-lane`, four beds and eight probes that tell
every ten minutes, planted on 1 April and cleared on 31 October, in the sure season `invented-dry`:
214 days, 246,528 readings. It is lived twice in each repeat, in turn, so that a busy machine hits
both; the best time of each counts. Times are CPU seconds of this process.

The *full* path is the replay: engine, valve nodes, meter, record and the season's books. The *bare*
path is what a replay cannot do without: the same world, the same readings, the same quality control
and the same balance with its corrections. It leaves out ticks, and with them policy, dosing and
guard; valve nodes and their leases; the meter; what is recorded; the season's books. Its water is
the full path's, let into the world and into the balance at the same instants, so that both live
through comparable states: the world's is the very same, the beds' believed depletion nearly.

`--json` prints an object: `season`, `from`, `to`, `days`, `beds`, `probes`, `repeats`, `readings`,
`full` and `bare` (each `cpu_s` and `readings_per_s`), `ratio` (full over bare) and `most` (what
`ratio` and `full_cpu_s` are meant to stay within; the seconds are for the whole season).
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from controller.engine import Engine
from controller.events import Started
from controller.garden import Garden, load_garden
from controller.sensing.estimate import WATER_SD_FRAC, add_water
from controller.sensing.full_point import fed
from controller.watering.settling import METER_SD_FRAC
from sim.examples import find_garden
from sim.garden_world import GardenWorld
from sim.hands import Flow
from sim.instruments import Instruments
from sim.replay import GRID_S, EngineReplay
from sim.season_run import Replay, prepare

GARDEN = "hollin-lane"
SEASON = "invented-dry"
YEAR = 2025  # of the invented seasons
FIRST, LAST = date(YEAR, 4, 1), date(YEAR, 10, 31)
MOST_DAYS = (LAST - FIRST).days + 1
MOST_RATIO = 2.0  # [-] full over bare; ours
MOST_FULL_CPU_S = 6.0  # [s] the whole season on a machine of today; ours


@dataclass(frozen=True, slots=True, kw_only=True)
class Lived:
    """One path's way through the season.

    Attributes:
        cpu_s: what it took [s].
        engine: as it stands at the end.
        world: likewise.
        flows: the water that ran.
    """

    cpu_s: float
    engine: Engine
    world: GardenWorld
    flows: list[Flow]


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """Water onto a bed begins (`opens`) or ends."""

    at_utc_s: float
    opens: bool
    bed: str


def long_season(days: int = MOST_DAYS, first: date = FIRST) -> Replay:
    """The example garden, planted on 1 April, for so many days.

    Args:
        days: 2 or more; they end with October.
        first: the first of them, 1 April or later.

    Raises:
        SeasonError: the days do not fit.
    """
    garden = load_garden(find_garden(GARDEN))
    planted = {"transplanted": FIRST, "cleared": LAST}
    beds = {name: bed.model_copy(update=planted) for name, bed in garden.beds.items()}
    last = first + timedelta(days=days - 1)
    moved: Garden = garden.model_copy(update={"beds": beds})
    return prepare(moved, SEASON, first=first, last=last, sure=True)


def full(replay: Replay) -> Lived:
    """Live the season with everything, as `thirstline replay` does."""
    began_s = time.process_time()
    world = replay.world()
    live = EngineReplay(replay.garden, world, replay.span)
    live.go(replay.span.to_utc_s)
    live.account.result(replay.picks)
    cpu_s = time.process_time() - began_s
    return Lived(cpu_s=cpu_s, engine=live.engine, world=world, flows=live.hands.flows)


def bare(replay: Replay, flows: Sequence[Flow]) -> Lived:
    """Live the season with readings and balance alone, under the water of a full run.

    Args:
        replay: the season.
        flows: the water, as the full run gave it.
    """
    began_s = time.process_time()
    world, engine = replay.world(), Engine(replay.garden)
    instruments = Instruments(replay.garden, world)
    begin_utc_s = replay.span.from_utc_s
    engine.step(Started(at_utc_s=begin_utc_s, mono_s=0.0, trusted_s=0.0, stored_epoch=0))
    edges, place = edges_of(flows), 0
    turn = _turner(world, engine)
    step = engine.step
    at_utc_s = begin_utc_s
    while at_utc_s < replay.span.to_utc_s:
        at_utc_s += GRID_S
        while place < len(edges) and edges[place].at_utc_s <= at_utc_s:
            turn(edges[place])
            place += 1
        world.advance(at_utc_s)
        mono_s = at_utc_s - begin_utc_s
        for weather in instruments.weather(at_utc_s, mono_s):
            step(weather)
        for reading in instruments.probes(at_utc_s, mono_s):
            step(reading)
    return Lived(cpu_s=time.process_time() - began_s, engine=engine, world=world, flows=list(flows))


def edges_of(flows: Sequence[Flow]) -> list[Edge]:
    """Beginnings and ends of water in the order of time; where two meet, the end comes first."""
    edges = [
        edge
        for flow in flows
        for edge in (
            Edge(at_utc_s=flow.from_utc_s, opens=True, bed=flow.bed),
            Edge(at_utc_s=flow.to_utc_s, opens=False, bed=flow.bed),
        )
    ]
    return sorted(edges, key=lambda edge: (edge.at_utc_s, edge.opens))


def _turner(world: GardenWorld, engine: Engine) -> Callable[[Edge], None]:
    """What lets a flow begin or end, and lets the balance know of it at its end."""
    before_l: dict[str, float] = {}
    state = engine.state

    def turn(edge: Edge) -> None:
        bed, at_utc_s = edge.bed, edge.at_utc_s
        world.advance(at_utc_s)
        if edge.opens:
            before_l[bed] = world.truth.litres(bed)
            world.set_flow(bed, world.flow_l_min(bed))
            return
        world.set_flow(bed, 0.0)
        given_l = world.truth.litres(bed) - before_l.pop(bed)
        depth_mm = given_l / engine.run.soils[bed].wetted_area_m2
        told_m3_m3 = state.beds[bed].told_m3_m3
        fed(state.water[bed], depth_mm, METER_SD_FRAC * depth_mm, told_m3_m3, at_utc_s)
        add_water(state.water[bed], depth_mm, WATER_SD_FRAC, at_utc_s)

    return turn


def measured(days: int = MOST_DAYS, repeats: int = 3) -> dict[str, Any]:
    """Live both paths in turn and compare their best times.

    Args:
        days: 1 to 214.
        repeats: 1 or more.

    Returns:
        What `--json` prints.
    """
    replay = long_season(days)
    full_s: list[float] = []
    bare_s: list[float] = []
    for _ in range(repeats):
        whole = full(replay)
        full_s.append(whole.cpu_s)
        readings = whole.engine.state.readings
        bare_s.append(bare(replay, whole.flows).cpu_s)
    best_full_s, best_bare_s = min(full_s), min(bare_s)
    return {
        "season": SEASON,
        "from": replay.span.first.isoformat(),
        "to": replay.span.last.isoformat(),
        "days": days,
        "beds": len(replay.garden.beds),
        "probes": len(replay.garden.probes),
        "repeats": repeats,
        "readings": readings,
        "full": _pace(best_full_s, readings),
        "bare": _pace(best_bare_s, readings),
        "ratio": round(best_full_s / best_bare_s, 2),
        "most": {"ratio": MOST_RATIO, "full_cpu_s": MOST_FULL_CPU_S},
    }


def _pace(cpu_s: float, readings: int) -> dict[str, float]:
    return {"cpu_s": round(cpu_s, 2), "readings_per_s": round(readings / cpu_s)}


def _lines(found: dict[str, Any]) -> str:
    """The same for people."""
    lines = [
        f"{found['season']}, {found['from']} to {found['to']}: {found['beds']} beds,"
        f" {found['probes']} probes, {found['readings']:,} readings; best of {found['repeats']}"
    ]
    lines += [
        f"{name}  {found[name]['cpu_s']:6.2f} s CPU  {found[name]['readings_per_s']:8,} readings/s"
        for name in ("full", "bare")
    ]
    return "\n".join([*lines, f"full / bare  {found['ratio']:.2f}, at most {MOST_RATIO:g}"])


def _whole(least: int, most: int) -> Callable[[str], int]:
    """What reads a whole number within bounds from the command line."""

    def number(text: str) -> int:
        value = int(text)
        if not least <= value <= most:
            msg = f"{value} is not within {least} to {most}"
            raise argparse.ArgumentTypeError(msg)
        return value

    return number


def main(words: Sequence[str] | None = None) -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(
        prog="python -m sim.pace", description="How fast a season goes by, full and bare."
    )
    days, repeats = _whole(2, MOST_DAYS), _whole(1, 100)
    parser.add_argument("--days", type=days, default=MOST_DAYS, help=f"from 1 April, 2-{MOST_DAYS}")
    parser.add_argument("--repeats", type=repeats, default=3, help="the best of so many counts")
    parser.add_argument("--json", action="store_true", help="print an object instead of lines")
    told = parser.parse_args(words)
    found = measured(told.days, told.repeats)
    sys.stdout.write((json.dumps(found) if told.json else _lines(found)) + "\n")


if __name__ == "__main__":
    main()
