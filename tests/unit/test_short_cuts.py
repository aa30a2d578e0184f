"""What was made quick says the same as the plain way, and is never out of date."""

from __future__ import annotations

from statistics import median

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from controller.engine import Engine
from controller.events import GardenChanged, ProbeReading, Started
from controller.garden import Garden, load_garden
from controller.sensing.quality import fresh, middle_of, usable
from controller.sensing.watching import RESTLESS_M3_M3, keep_hour, wobble_m3_m3
from controller.state import ProbeState
from controller.watering.guard import caps_of
from sim.examples import find_garden
from sim.forms import rounder
from sim.garden_world import GardenWorld
from sim.instruments import Instruments
from sim.pace import long_season

HALVES = st.integers(0, 20_000_000).map(lambda whole: whole / 20_000.0)  # on and near ties
VALUES = st.one_of(
    st.floats(0.0, 1.0), st.floats(0.0, 4000.0), HALVES, st.floats(-1e12, 1e12), st.just(-0.0)
)


@pytest.mark.parametrize("digits", range(5))
@given(value=VALUES)
def test_the_quick_rounding_is_the_plain_one_to_the_last_bit(digits: int, value: float) -> None:
    assert repr(rounder(digits)(value)) == repr(round(value, digits))


def test_limits_worked_out_once_follow_a_new_garden_file() -> None:
    garden = load_garden(find_garden("hollin-lane"))
    engine = Engine(garden)
    engine.step(Started(at_utc_s=1e9, mono_s=0.0, trusted_s=0.0, stored_epoch=0))
    bed = next(iter(garden.beds))
    before = caps_of(engine.run, bed)
    tight = garden.limits.model_copy(update={"dose_l": 0.5 * before.dose_l})
    changed: Garden = garden.model_copy(update={"limits": tight})
    engine.step(GardenChanged(at_utc_s=1e9, mono_s=1.0, garden_json=changed.model_dump_json()))
    assert caps_of(engine.run, bed).dose_l == pytest.approx(0.5 * before.dose_l)


@given(st.lists(st.floats(-1.0, 1.0), min_size=1, max_size=120))
def test_the_middle_of_an_hour_is_its_median_to_the_last_bit(hour: list[float]) -> None:
    assert repr(middle_of(hour)) == repr(float(median(hour)))


@given(st.floats(0.0, 0.03), st.lists(st.sampled_from([0.0, 0.5, 1.0]), min_size=1, max_size=9))
@example(1.1 * RESTLESS_M3_M3, [0.0, 1.0, 0.0])
def test_an_hour_is_restless_where_its_wobble_says_so(span: float, shape: list[float]) -> None:
    hour = [0.2 + span * each for each in shape]
    probe = ProbeState(hour_m3_m3=hour)
    keep_hour(probe, 1e-4)
    assert (probe.restless_h == 1) is (wobble_m3_m3(hour) > RESTLESS_M3_M3)


@pytest.mark.parametrize("trust", ["", "doubtful", "out"])
@pytest.mark.parametrize("theta", [None, 0.2])
@pytest.mark.parametrize("heard_s", [None, 99.0, 100.0, 5000.0])
@pytest.mark.parametrize("age_s", [0.0, 899.0, 900.0, 901.0, 1800.0, 1801.0])
def test_usable_is_fresh_and_not_put_out(
    trust: str, theta: float | None, heard_s: float | None, age_s: float
) -> None:
    probe = ProbeState(mono_s=heard_s, theta_m3_m3=theta, trust=trust)
    now_s = (heard_s or 0.0) + age_s
    plain = trust != "out" and fresh(probe, 600.0, 100.0, now_s)
    assert usable(probe, 600.0, 100.0, now_s) is plain


def test_a_silent_probe_that_speaks_ends_its_alert_beside_another_that_stands() -> None:
    engine = Engine(load_garden(find_garden("hollin-lane")))
    engine.step(Started(at_utc_s=1e9, mono_s=0.0, trusted_s=0.0, stored_epoch=0))
    for name, sense in engine.run.senses.items():
        engine.run.raise_alert("frost", "Too cold.")
        engine.run.raise_alert("probe_silent", "Silent.", bed=sense.bed, probe=name)
        engine.step(ProbeReading(at_utc_s=1e9, mono_s=1.0, probe=name, value=0.2))
        standing = {alert.code for alert in engine.state.alerts.values()}
        assert "frost" in standing
        assert "probe_silent" not in standing


def test_what_is_kept_of_a_probe_follows_a_new_garden_file_and_a_restored_state() -> None:
    garden = load_garden(find_garden("hollin-lane"))
    engine = Engine(garden)
    engine.step(Started(at_utc_s=1e9, mono_s=0.0, trusted_s=0.0, stored_epoch=0))
    name = next(one for one, probe in garden.probes.items() if probe.kind == "raw")
    assert not engine.run.senses[name].bare
    bare = garden.probes[name].model_copy(update={"calibration": None})
    there = next(bed for bed in garden.beds if name not in garden.beds[bed].probes)
    beds = {}
    for bed, table in garden.beds.items():
        kept = tuple(one for one in table.probes if one != name)
        probes = (*kept, name) if bed == there else kept
        beds[bed] = table.model_copy(update={"probes": probes})
    changed: Garden = garden.model_copy(
        update={"probes": {**garden.probes, name: bare}, "beds": beds}
    )
    engine.step(GardenChanged(at_utc_s=1e9, mono_s=1.0, garden_json=changed.model_dump_json()))
    for one in (engine, Engine.load(engine.dump())):
        sense = one.run.senses[name]
        assert (sense.bare, sense.bed) == (True, there)
        assert sense.silent == f"probe_silent-{there}-{name}"


@pytest.fixture(scope="module")
def world() -> GardenWorld:
    """The first days of a dry season."""
    return long_season(2).world()


def test_a_reading_made_in_two_steps_is_a_reading(world: GardenWorld) -> None:
    for made in Instruments(world.garden, world).probes(1e9, 5.0):
        assert made == ProbeReading(at_utc_s=1e9, mono_s=5.0, probe=made.probe, value=made.value)


def test_the_hour_of_weather_now_is_the_hour_that_holds_now(world: GardenWorld) -> None:
    begin_s = world.truth.now_utc_s
    for hours in (0.0, 0.5, 1.0, 1.5, 30.0, 47.99):
        world.advance(begin_s + 3600.0 * hours)
        assert world.truth.hour_now() is world.truth.season.hour_at(world.truth.now_utc_s)
