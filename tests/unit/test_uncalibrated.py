"""Raw probes without a table: two dry spells teach what a count is worth."""

from __future__ import annotations

import pytest

from controller.sensing.uncalibrated import (
    SETTLED_S,
    hour,
    line_of,
    nominal_m3_m3,
    theta_m3_m3,
    usable,
)
from controller.state import BedWater, ProbeLine
from tests.unit.test_full_point import SOIL

ROOT_M = 0.5


def counts(theta_m3_m3: float, rising: bool) -> float:
    """An invented probe, straight in water content."""
    return 400.0 + 5000.0 * theta_m3_m3 if rising else 3000.0 - 4000.0 * theta_m3_m3


def dry_spell(line: ProbeLine, water: BedWater, begins_s: float, *, rising: bool) -> float:
    """Five days without water, 4 mm a day, then water; answers its end."""
    water.wetted_utc_s, water.depletion_mm = begins_s, 5.0
    at_s = begins_s
    for _ in range(5 * 24):
        at_s += 3600.0
        water.depletion_mm += 4.0 / 24.0
        water.used_mm += 4.0 / 24.0
        theta = 0.28 - water.depletion_mm / 500.0
        told = nominal_m3_m3(counts(theta, rising))
        assert told is not None
        hour(line, water, SOIL, ROOT_M, 20.0, told, at_s)
    water.wetted_utc_s = at_s
    hour(line, water, SOIL, ROOT_M, 20.0, told, at_s + 3600.0)
    return at_s + 3600.0


@pytest.mark.parametrize("rising", [False, True], ids=["falling-counts", "rising-counts"])
def test_two_dry_spells_make_a_probe_usable(rising: bool) -> None:
    line, water = ProbeLine(), BedWater(depletion_mm=0.0, var_mm2=9.0)
    end_s = dry_spell(line, water, 0.0, rising=rising)
    assert not usable(line)
    assert theta_m3_m3(line, 0.3) is None
    end_s = dry_spell(line, water, end_s, rising=rising)
    assert usable(line)
    assert line.since_utc_s == end_s
    for theta in (0.16, 0.22, 0.28):
        told = nominal_m3_m3(counts(theta, rising))
        assert told is not None
        assert theta_m3_m3(line, told) == pytest.approx(theta, abs=0.003)


def test_a_probe_below_the_roots_is_not_fitted() -> None:
    line, water = ProbeLine(), BedWater(depletion_mm=0.0, var_mm2=9.0)
    for at_h in range(200):
        water.used_mm += 0.5
        hour(line, water, SOIL, 0.2, 40.0, 0.3 - at_h / 1000.0, SETTLED_S + 3600.0 * at_h)
    assert line == ProbeLine()


def test_a_probe_that_does_not_stir_teaches_nothing() -> None:
    line, water = ProbeLine(), BedWater(depletion_mm=0.0, var_mm2=9.0)
    for spell in range(4):
        begins_s = spell * 10 * 86_400.0
        water.wetted_utc_s = begins_s
        for at_h in range(120):
            water.used_mm += 0.2
            hour(line, water, SOIL, ROOT_M, 20.0, 0.3, begins_s + 3600.0 * at_h)
    assert not usable(line)


@pytest.mark.parametrize("value", [-1.0, 4096.0, float("nan"), float("inf")])
def test_counts_beyond_twelve_bits_are_none(value: float) -> None:
    assert nominal_m3_m3(value) is None


def test_a_probe_keeps_its_line_by_its_bed_and_name() -> None:
    lines: dict[str, ProbeLine] = {}
    line = line_of(lines, "south", "a")
    line.slope_frac = 2.0
    assert line_of(lines, "south", "a") is line
    assert line_of(lines, "south", "b") == ProbeLine()
    assert line_of(lines, "wall", "a") == ProbeLine()
