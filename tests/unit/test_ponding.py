"""Pulses by the pond: it stays on the strip, light soil takes a dose at once."""

from __future__ import annotations

import tomllib

import pytest

from controller.garden import Bed, Garden
from controller.watering.ponding import pond_m, pond_pulses
from sim.examples import find_garden

WHOLE_S = 7900.0  # a refill of Hollin Lane
DOCUMENT = tomllib.loads(find_garden("hollin-lane").read_text(encoding="utf-8"))
SOUTH = Garden.model_validate(DOCUMENT).beds["south"]


def bed(soil: str, **change: object) -> Bed:
    return SOUTH.model_copy(update={"soil": soil, **change})


@pytest.mark.parametrize(
    ("soil", "radius_m"),
    [("sandy loam", 0.062), ("loam", 0.127)],
    ids=["sandy-loam", "loam"],
)
def test_in_a_long_run_the_pond_is_woodings(soil: str, radius_m: float) -> None:
    assert pond_m(bed(soil), 86_400.0) == pytest.approx(radius_m, abs=0.001)


@pytest.mark.parametrize("soil", ["sand", "loam", "clay loam", "silty clay", "clay"])
def test_a_pond_grows_while_water_runs_and_with_the_flow(soil: str) -> None:
    runs = [pond_m(bed(soil), run_s) for run_s in (600.0, 1200.0, 2400.0)]
    assert runs == sorted(runs)
    faster = pond_m(bed(soil, emitter_l_h=4.0), 2400.0)
    assert faster >= runs[-1]


@pytest.mark.parametrize(
    ("soil", "pulses"),
    [("sand", 1), ("sandy loam", 1), ("loam", 1), ("clay loam", 1), ("silty clay loam", 2)],
)
def test_heavy_soil_drinks_in_more_pulses(soil: str, pulses: int) -> None:
    assert pond_pulses(bed(soil), WHOLE_S) == pulses


@pytest.mark.parametrize("soil", ["loam", "clay loam", "silty clay loam", "sandy clay"])
@pytest.mark.parametrize("wetted_width_m", [0.3, 0.6, 0.8, 1.2])
def test_the_fewest_pulses_whose_pond_stays_on_the_strip(soil: str, wetted_width_m: float) -> None:
    here = bed(soil, wetted_width_m=wetted_width_m)
    pulses, half_m = pond_pulses(here, WHOLE_S), 0.5 * wetted_width_m / here.lines
    assert 1 <= pulses <= 4
    if pulses < 4:
        assert pond_m(here, WHOLE_S / pulses) <= half_m
    if pulses > 1:
        assert pond_m(here, WHOLE_S / (pulses - 1)) > half_m


def test_ponds_that_meet_make_one_long_pond_of_their_line() -> None:
    close = {"emitters": 720, "emitter_l_h": 0.2}  # the same flow from every 4 cm
    heavy = "silty clay loam"
    long_run = [pond_m(bed(heavy), 86_400.0), pond_m(bed(heavy, **close), 86_400.0)]
    assert long_run[0] == pytest.approx(long_run[1])
    assert pond_m(bed(heavy, **close), 600.0) < 0.5 * pond_m(bed(heavy), 600.0)
    assert pond_m(bed("loam", **close), 86_400.0) < pond_m(bed("loam"), 86_400.0)
