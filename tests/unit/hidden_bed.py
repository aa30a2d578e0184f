"""A hidden bed without an engine: drawn, watered by a simple rule, its probes read each hour."""

from __future__ import annotations

from datetime import date
from typing import Any

from controller.garden import Garden
from controller.garden_file import read_document
from sim.examples import find_garden
from sim.garden_world import GardenWorld
from sim.season_run import prepare
from sim.season_types import HOUR_S
from sim.winter.fitting.observed import BedSeen, Observed, ProbeHours, Water

DOSE_L, DOSE_S = 260.0, 7200.0
LINE_FRAC = 0.40


def tables(bed: str, *, probes: bool = True) -> dict[str, Any]:
    """Hollin Lane's file with one of its beds."""
    data = dict(read_document(find_garden("hollin-lane")).data)
    setting = dict(data["beds"][bed])
    if not probes:
        setting["probes"] = []
    data["beds"] = {bed: setting}
    data["probes"] = {name: data["probes"][name] for name in setting["probes"]}
    data["valves"] = {name: data["valves"][name] for name in (setting["valve"], "master")}
    return data


def hidden_bed(
    seed: int,
    bed: str = "south",
    *,
    first: date | None = None,
    last: date = date(2015, 7, 31),
    weather: str = "seattle-2015",
    probes: bool = True,
) -> Observed:
    """What was recorded of one drawn bed."""
    garden = Garden.model_validate(tables(bed, probes=probes))
    replay = prepare(garden, weather, seed=seed, first=first, last=last)
    world = GardenWorld(replay.garden, replay.season, replay.span.from_utc_s, seed=seed, sure=False)
    begin, end = replay.span.from_utc_s, replay.span.to_utc_s
    names = replay.garden.beds[bed].probes
    told: dict[str, list[tuple[int, float]]] = {name: [] for name in names}
    water: list[Water] = []
    ends = begin
    for hour in range(int((end - begin) / HOUR_S)):
        now = begin + hour * HOUR_S
        world.advance(now)
        if now >= ends:
            world.set_flow(bed, 0.0)
            if hour % 24 == 5 and world.truth.depletion_frac(bed) > LINE_FRAC:
                world.set_flow(bed, DOSE_L * 60.0 / DOSE_S)
                ends = now + DOSE_S
                metered_l = DOSE_L * world.meter_factor
                water.append(Water(from_utc_s=now, to_utc_s=ends, litres=metered_l))
        heard: dict[str, list[float]] = {name: [] for name in names}
        for minute in range(0, 60, 10):
            world.advance(now + 60.0 * minute)
            for name in names:
                value = world.probe_value(name)
                if value is not None:
                    heard[name].append(value)
        for name, values in heard.items():
            if values:
                told[name].append((int(now), sum(values) / len(values)))
    series = [
        ProbeHours(
            probe=name,
            hour_utc_s=tuple(hour for hour, _ in rows),
            theta_m3_m3=tuple(value for _, value in rows),
        )
        for name, rows in told.items()
        if rows
    ]
    seen = BedSeen(
        water=tuple(water),
        probes=tuple(series),
        open_s=DOSE_S * len(water),
        valve_l=sum(one.litres for one in water),
    )
    return Observed(
        garden=replay.garden,
        season=replay.season,
        from_utc_s=begin,
        to_utc_s=end,
        beds={bed: seen},
        source=f"hidden bed {seed}",
    )
