"""What probes tell, in their own units, becomes water content or tension, or a reason."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.garden import Probe
from controller.sensing.calibration import (
    Calibration,
    from_theta,
    granular_matrix_tension_kpa,
    to_theta,
    water_scale,
)

TWO = ((2900.0, 0.04), (1350.0, 0.42))
THREE = ((2860.0, 0.04), (2010.0, 0.22), (1380.0, 0.42))


def raw(points: tuple[tuple[float, float], ...] | None = TWO) -> Probe:
    return Probe(kind="raw", depth_cm=20, calibration=points)


@pytest.mark.parametrize(
    ("points", "counts", "expected"),
    [
        pytest.param(TWO, 2900, 0.04, id="dry-end"),
        pytest.param(TWO, 1350, 0.42, id="wet-end"),
        pytest.param(TWO, 2125, 0.23, id="half-way"),
        pytest.param(THREE, 2010, 0.22, id="middle-point"),
        pytest.param(THREE, 2435, 0.13, id="upper-half"),
        pytest.param(THREE, 1695, 0.32, id="lower-half"),
        pytest.param(TWO, 3055, 0.002, id="a-tenth-beyond"),
        pytest.param(TWO, 1195, 0.458, id="a-tenth-beyond-wet"),
    ],
)
def test_counts_are_read_straight_between_the_points(
    points: tuple[tuple[float, float], ...], counts: float, expected: float
) -> None:
    found = to_theta(raw(points), counts)
    assert found.theta_m3_m3 == pytest.approx(expected, abs=1e-9)
    assert found.reason is Calibration.WATER


@pytest.mark.parametrize("counts", [3056.0, 1194.0, 0.0, 4095.0, 1e300])
def test_counts_past_a_tenth_beyond_the_points_tell_nothing(counts: float) -> None:
    found = to_theta(raw(), counts)
    assert (found.theta_m3_m3, found.reason) == (None, Calibration.OUTSIDE_CALIBRATION)


@pytest.mark.parametrize(
    ("probe", "value", "reason"),
    [
        pytest.param(raw(None), 2000.0, Calibration.UNCALIBRATED, id="no-points"),
        pytest.param(raw(), math.nan, Calibration.NOT_FINITE, id="nan"),
        pytest.param(raw(), -math.inf, Calibration.NOT_FINITE, id="minus-inf"),
        pytest.param(
            Probe(kind="theta_m3_m3", depth_cm=20), 23.4, Calibration.WRONG_UNIT, id="per-cent"
        ),
        pytest.param(
            Probe(kind="theta_pct", depth_cm=20), 2340.0, Calibration.WRONG_UNIT, id="counts"
        ),
        pytest.param(
            Probe(kind="tension_kpa", depth_cm=20), -30.0, Calibration.WRONG_UNIT, id="suction"
        ),
        pytest.param(
            Probe(kind="resistance_kohm", depth_cm=20), 35.1, Calibration.OPEN_CIRCUIT, id="open"
        ),
        pytest.param(
            Probe(kind="resistance_kohm", depth_cm=20), 0.09, Calibration.SHORT_CIRCUIT, id="short"
        ),
    ],
)
def test_what_cannot_be_believed_has_a_reason_and_no_value(
    probe: Probe, value: float, reason: Calibration
) -> None:
    found = to_theta(probe, value)
    assert (found.theta_m3_m3, found.tension_kpa, found.reason) == (None, None, reason)


def test_per_cent_becomes_a_fraction() -> None:
    found = to_theta(Probe(kind="theta_pct", depth_cm=20), 23.4)
    assert found.theta_m3_m3 == pytest.approx(0.234)


def test_tension_stays_tension() -> None:
    found = to_theta(Probe(kind="tension_kpa", depth_cm=20), 45.0)
    assert (found.theta_m3_m3, found.tension_kpa) == (None, 45.0)


@pytest.mark.parametrize(
    ("resistance", "temp", "expected"),
    [
        pytest.param(5.0, 24.0, 30.4, id="5-kohm-24-c"),
        pytest.param(5.0, 15.0, 26.2, id="5-kohm-15-c"),
        pytest.param(0.5, 24.0, 0.0, id="saturated"),
    ],
)
def test_a_granular_matrix_follows_resistance_and_temperature(
    resistance: float, temp: float, expected: float
) -> None:
    # 30.4 and 26.2 kPa: worked values of the middle branch, to the printed 0.1 kPa
    assert granular_matrix_tension_kpa(resistance, temp) == pytest.approx(expected, abs=0.05)


def test_the_branches_lie_1_4_kpa_apart_at_8_kohm() -> None:
    jump = granular_matrix_tension_kpa(8.000001, 24.0) - granular_matrix_tension_kpa(8.0, 24.0)
    assert abs(jump) == pytest.approx(1.4, abs=0.05)


def test_an_impossible_soil_temperature_is_not_used() -> None:
    probe = Probe(kind="resistance_kohm", depth_cm=20)
    assert to_theta(probe, 5.0, 900.0) == to_theta(probe, 5.0, None) == to_theta(probe, 5.0, 24.0)


@pytest.mark.parametrize("theta", [0.05, 0.22, 0.30, 0.41])
@pytest.mark.parametrize(
    "probe",
    [
        pytest.param(raw(TWO), id="two-points"),
        pytest.param(raw(THREE), id="three-points"),
        pytest.param(Probe(kind="theta_pct", depth_cm=20), id="per-cent"),
        pytest.param(Probe(kind="theta_m3_m3", depth_cm=20), id="fraction"),
    ],
)
def test_the_way_back_leads_to_the_same_water(probe: Probe, theta: float) -> None:
    told = from_theta(probe, theta)
    assert told is not None
    assert to_theta(probe, told).theta_m3_m3 == pytest.approx(theta)


def test_a_tension_probe_has_no_way_back() -> None:
    assert from_theta(Probe(kind="tension_kpa", depth_cm=20), 0.2) is None


KINDS = {
    "share": Probe(kind="theta_m3_m3", depth_cm=20),
    "per-cent": Probe(kind="theta_pct", depth_cm=20),
    "counts": raw(THREE),
    "counts-uncalibrated": raw(None),
    "tension": Probe(kind="tension_kpa", depth_cm=20),
    "resistance": Probe(kind="resistance_kohm", depth_cm=20),
}


@pytest.mark.parametrize("probe", KINDS.values(), ids=KINDS.keys())
@given(value=st.floats(-2.0, 2.0) | st.floats(1100.0, 3200.0) | st.floats())
def test_the_scale_made_once_reads_as_each_reading_alone(probe: Probe, value: float) -> None:
    assert water_scale(probe)(value) == to_theta(probe, value).theta_m3_m3
