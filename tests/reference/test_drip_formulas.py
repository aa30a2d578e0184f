"""Drip: run time, pond, bulb, evenness and salt against values worked from their sources."""

from __future__ import annotations

import pytest

from controller.agronomy import drip

FLOWS_L_H = (
    1.95, 2.02, 2.05, 1.88, 2.10, 1.92, 2.00, 1.80, 2.04, 1.97, 2.08, 1.70, 2.01, 1.99, 1.93, 2.06,
)  # fmt: skip


@pytest.mark.parametrize(
    ("litres", "emitters", "emitter_l_h", "efficiency", "hours"),
    [pytest.param(300.0, 100, 2.0, 0.9, 1.666667, id="run-time")],
)
def test_a_run_is_litres_over_flow(
    litres: float, emitters: int, emitter_l_h: float, efficiency: float, hours: float
) -> None:
    """Definition; tolerance 1e-6 h."""
    found = drip.run_time_h(litres, emitters, emitter_l_h, efficiency)
    assert found == pytest.approx(hours, abs=1e-6)


@pytest.mark.parametrize(
    ("emitter_l_h", "ks_cm_d", "alpha_per_cm", "radius_cm"),
    [pytest.param(2.0, 24.96, 0.036, 12.7275, id="pond-radius")],
)
def test_the_pond_under_an_emitter_on_loam(
    emitter_l_h: float, ks_cm_d: float, alpha_per_cm: float, radius_cm: float
) -> None:
    """Wooding 1968, worked apart; tolerance 0.001 cm."""
    radius_m = drip.pond_radius_m(emitter_l_h, ks_cm_d * 10.0 / 24.0, 0.01 / alpha_per_cm)
    assert 100.0 * radius_m == pytest.approx(radius_cm, abs=0.001)


@pytest.mark.parametrize(
    ("litres", "emitter_l_h", "ks_m_s", "depth_m", "width_m"),
    [pytest.param(8.0, 2.0, 1e-5, 0.4455, 0.3901, id="wetted-bulb")],
)
def test_the_bulb_that_eight_litres_make(
    litres: float, emitter_l_h: float, ks_m_s: float, depth_m: float, width_m: float
) -> None:
    """Schwartzman & Zur 1986, from memory; the two printed forms of the width lie 0.006 m apart."""
    ks_mm_h = ks_m_s * 3.6e6
    assert drip.bulb_depth_m(litres, emitter_l_h, ks_mm_h) == pytest.approx(depth_m, abs=0.001)
    assert drip.bulb_width_m(litres, emitter_l_h, ks_mm_h) == pytest.approx(width_m, abs=0.006)


@pytest.mark.parametrize(("low_quarter", "cu"), [pytest.param(0.926984, 0.959841, id="uniformity")])
def test_how_even_sixteen_emitters_are(low_quarter: float, cu: float) -> None:
    """Definitions on sixteen flows, worked by hand; tolerance 1e-6."""
    assert drip.distribution_uniformity(FLOWS_L_H) == pytest.approx(low_quarter, abs=1e-6)
    assert drip.christiansen_uniformity(FLOWS_L_H) == pytest.approx(cu, abs=1e-6)


@pytest.mark.parametrize("water_ds_m", [pytest.param(1.0, id="leaching-requirement")])
def test_how_much_must_drain_to_carry_salt_away(water_ds_m: float) -> None:
    """FAO-56 eq. 93 for an ECe of 2.5, and ECe/ECiw at 15 % leaching; tolerance 1e-6."""
    found = drip.leaching_requirement_frac(water_ds_m, 2.5)
    assert found == pytest.approx(0.086957, abs=1e-6)
    assert drip.soil_salt_ratio(0.15) == pytest.approx(1.533333, abs=1e-6)
