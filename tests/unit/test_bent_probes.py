"""Hazards put on readings: what arrives, since when, and that the lots are of the seed alone."""

from __future__ import annotations

import pytest

from controller.events import ProbeReading
from controller.garden import Garden, load_garden
from controller.sensing.uncalibrated import scale_of
from sim.examples import find_garden
from sim.forms import teller
from sim.probe_lives import STATED
from sim.probe_series import BENDS, DRIFT_M3_M3_D, FROZEN_M3_M3, Bender, Broken, Hazard, broken_in

BEGIN_S = 1000.0 * 600.0
DAY_S = 86_400.0
SOUND = 0.25


@pytest.fixture(scope="module")
def garden() -> Garden:
    return load_garden(find_garden("hollin-lane"))


def sent(garden: Garden, at_utc_s: float, sound: float = SOUND) -> list[ProbeReading]:
    return [
        ProbeReading(at_utc_s=at_utc_s, mono_s=at_utc_s, probe=name, value=teller(one)(sound, 0.0))
        for name, one in garden.probes.items()
    ]


def broken(garden: Garden, hazard: Hazard, seed: int = 1) -> Broken:
    return broken_in(garden, hazard, BEGIN_S, seed)


def after(garden: Garden, hazard: Hazard, days: float = 0.0, n: int = 1) -> list[ProbeReading]:
    """What arrives of broken probes from so many days after the beginning, n times."""
    lot = broken(garden, hazard)
    bender = Bender(garden, lot)
    found: list[ProbeReading] = []
    for k in range(n):
        arrives = bender.bend(sent(garden, BEGIN_S + days * DAY_S + 600.0 * k))
        found += [one for one in arrives if one.probe in lot.probes]
    return found


def theta(garden: Garden, one: ProbeReading) -> float | None:
    return scale_of(garden.probes[one.probe])(one.value)


def test_every_hazard_bends_and_is_asked_something() -> None:
    assert set(BENDS) == set(STATED) == set(Hazard)


@pytest.mark.parametrize("hazard", Hazard)
def test_before_it_begins_all_values_arrive_as_they_are(garden: Garden, hazard: Hazard) -> None:
    bender = Bender(garden, broken(garden, hazard))
    plain = sent(garden, BEGIN_S - 600.0)
    arrives = bender.bend(sent(garden, BEGIN_S - 600.0))
    assert [(one.probe, one.value, one.not_now) for one in arrives] == [
        (one.probe, one.value, one.not_now) for one in plain
    ]


@pytest.mark.parametrize("hazard", Hazard)
def test_the_others_are_never_touched(garden: Garden, hazard: Hazard) -> None:
    lot = broken(garden, hazard)
    arrives = Bender(garden, lot).bend(sent(garden, BEGIN_S + DAY_S))
    others = {one.probe: one for one in arrives if one.probe not in lot.probes}
    plain = {one.probe: one for one in sent(garden, BEGIN_S + DAY_S) if one.probe in others}
    assert others == plain
    assert len(others) == len(garden.probes) - len(lot.probes)


@pytest.mark.parametrize("hazard", Hazard)
def test_one_seed_is_one_hazard(garden: Garden, hazard: Hazard) -> None:
    assert after(garden, hazard, 1.0, 30) == after(garden, hazard, 1.0, 30)


def test_other_seeds_break_other_probes(garden: Garden) -> None:
    assert len({broken(garden, Hazard.OPEN, seed).probes for seed in range(20)}) > 3


@pytest.mark.parametrize("hazard", [Hazard.STALE, Hazard.LOST])
def test_a_dead_node_says_nothing(garden: Garden, hazard: Hazard) -> None:
    assert after(garden, hazard, 1.0, 10) == []


def test_a_drift_is_three_thousandths_a_day(garden: Garden) -> None:
    (one,) = after(garden, Hazard.DRIFT, 10.0)
    off = (theta(garden, one) or 0.0) - SOUND
    assert abs(off) == pytest.approx(10.0 * DRIFT_M3_M3_D, abs=5e-4)


def test_frozen_trembles_and_stuck_does_not(garden: Garden) -> None:
    frozen = [theta(garden, one) for one in after(garden, Hazard.FROZEN, 1.0, 50)]
    assert all(each == pytest.approx(FROZEN_M3_M3, abs=2e-3) for each in frozen)
    assert len(set(frozen)) > 5
    assert len({one.value for one in after(garden, Hazard.STUCK, 1.0, 50)}) == 1


@pytest.mark.parametrize("hazard", [Hazard.SWAPPED, Hazard.SWAPPED_BEDS])
def test_swapped_probes_tell_each_others_soil(garden: Garden, hazard: Hazard) -> None:
    lot = broken(garden, hazard)
    assert all(lot.swapped[there] == here for here, there in lot.swapped.items())
    readings = sent(garden, BEGIN_S)
    levels = {name: 0.15 + 0.01 * n for n, name in enumerate(garden.probes)}
    for one in readings:
        one.value = teller(garden.probes[one.probe])(levels[one.probe], 0.0)
    for one in Bender(garden, lot).bend(readings):
        whose = lot.swapped.get(one.probe, one.probe)
        assert theta(garden, one) == pytest.approx(levels[whose], abs=5e-4)


def test_impulses_hit_a_fifth(garden: Garden) -> None:
    told = [theta(garden, one) or 0.0 for one in after(garden, Hazard.NOISE, 1.0, 500)]
    assert sum(abs(each - SOUND) > 0.1 for each in told) == pytest.approx(100, abs=30)


def test_numbers_come_twice_and_late(garden: Garden) -> None:
    numbers = [one.seq or 0 for one in after(garden, Hazard.ORDER, 0.0, 200)]
    assert len(numbers) > len(set(numbers)) == 200
    assert sorted(numbers) != numbers


def test_a_battery_falls_to_its_brown_out_as_the_hazard_begins(garden: Garden) -> None:
    lot = broken(garden, Hazard.BATTERY)
    bender = Bender(garden, lot)

    def volts(days: float) -> float:
        arrives = bender.bend(sent(garden, BEGIN_S + days * DAY_S))
        return next(one.battery_v or 0.0 for one in arrives if one.probe in lot.probes)

    assert volts(-14.0) == 3.3
    assert volts(-0.5) > 0.78 * 3.3 > volts(0.0)


def test_a_future_or_a_kept_message_says_so(garden: Garden) -> None:
    assert {one.not_now for one in after(garden, Hazard.FUTURE, 0.0, 3)} == {"future_dated"}
    assert {one.not_now for one in after(garden, Hazard.RETAINED, 0.0, 60)} == {"retained"}
