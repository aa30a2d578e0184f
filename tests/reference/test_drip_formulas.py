"""Drip: strip, pond, pulses and emitters against values worked from their sources.

The published cases (pond, bulb, run time, evenness, salt) stand in `test_check_values_soil`.
"""

from __future__ import annotations

import math

import pytest

from controller.agronomy import drip, emitter


def test_water_over_the_ground_and_over_the_strip() -> None:
    """FAO-56 eq. 77, I/fw: 4 mm over a row of 1.2 m are 12 mm over a strip of 0.4 m; 1e-12."""
    share = drip.wetted_frac(0.4, 1.2)
    assert share == pytest.approx(1.0 / 3.0, abs=1e-12)
    assert drip.strip_mm(4.0, share) == pytest.approx(12.0, abs=1e-12)
    assert drip.wetted_frac(2.0, 1.2) == 1.0


def test_what_a_plant_has_below_it() -> None:
    """0.143 m3/m3 over 0.5 m and 0.60 m x 0.60 m: 25.74 l, of which 10.30 l at p 0.4; by hand."""
    taw_l = drip.litres_from_mm(1000.0 * 0.143 * 0.5, 0.36)
    assert taw_l == pytest.approx(25.74, abs=1e-9)
    assert 0.4 * taw_l == pytest.approx(10.296, abs=1e-9)
    assert drip.mm_from_litres(taw_l, 0.36) == pytest.approx(71.5, abs=1e-9)


def test_a_two_litre_emitter_rains_far_harder_than_loam_takes() -> None:
    """2 l/h on a spot of 0.39 m: 16.74 mm/h, against 10.4 mm/h of class loam; by hand, 0.01."""
    spot_m2 = math.pi * 0.195**2
    assert drip.application_rate_mm_h(2.0, spot_m2) == pytest.approx(16.74, abs=0.01)


def test_the_pond_takes_in_what_the_emitter_gives() -> None:
    """Wooding 1968: q = Ks (pi r2 + 4 r/alpha), 1 mm/h over 1 m2 is 1 l/h; put back, 1e-12."""
    r_m = drip.pond_radius_m(4.0, 8.0, 0.2)
    assert 8.0 * (math.pi * r_m**2 + 4.0 * r_m * 0.2) == pytest.approx(4.0, abs=1e-12)


@pytest.mark.parametrize(
    ("line_l_h_m", "x0_m"),
    [
        pytest.param(2.0, 0.0, id="no-pond"),
        pytest.param(6.0, 0.190226, id="six-litres-a-metre"),
        pytest.param(12.0, 0.481612, id="twelve-litres-a-metre"),
        pytest.param(59.07, 2.767440, id="as-far-as-it-was-fitted"),
        pytest.param(59.5, math.nan, id="past-it"),
    ],
)
def test_the_pond_below_a_line_of_close_emitters(line_l_h_m: float, x0_m: float) -> None:
    """Ks/(alpha qL) = 1/(3.96 alpha x0/2 + 0.721) on loam, 10.4 mm/h and 1/alpha 0.27778 m; 2e-5.

    It ends at alpha x0/2 = 5: 10.4 x 0.27778 x (3.96 x 5 + 0.721) = 59.28 l/h/m.
    """
    found = drip.strip_pond_half_width_m(line_l_h_m, 10.4, 0.27778)
    assert found == pytest.approx(x0_m, abs=2e-5, nan_ok=True)


@pytest.mark.parametrize(
    ("pond_mm", "pause_s"),
    [
        pytest.param(0.0, 1800.0, id="no-pond-half-an-hour"),
        pytest.param(7.5, 2700.0, id="as-long-as-it-drains"),
        pytest.param(30.0, 3600.0, id="an-hour-at-most"),
        pytest.param(math.nan, 3600.0, id="not-known"),
    ],
)
def test_a_pause_lasts_until_the_pond_is_in(pond_mm: float, pause_s: float) -> None:
    """30-60 min: common practice; 7.5 mm at 10 mm/h are 2700 s; exact."""
    assert drip.pulse_pause_s(pond_mm, 10.0) == pause_s


@pytest.mark.parametrize(
    ("pond_m", "pulses"),
    [(0.2, 1), (0.3, 1), (0.31, 2), (0.61, 3), (0.95, 4), (5.0, 4), (math.inf, 4), (math.nan, 1)],
)
def test_a_run_is_split_for_a_pond_wider_than_half_the_bed(pond_m: float, pulses: int) -> None:
    """2 to 4 pulses: common practice; half width 0.3 m."""
    assert drip.pulse_count(pond_m, 0.3) == pulses


def test_the_two_printed_forms_of_the_bulb_are_close() -> None:
    """Schwartzman & Zur 1986, from memory: 2.54 and 1.82 in m3 and m3/s; 0.1 % and 1.4 %."""
    for litres, flow_l_h, ks_m_s in ((8.0, 2.0, 1e-5), (3.0, 4.0, 3e-6), (20.0, 1.0, 4e-5)):
        per_flow = ks_m_s / (flow_l_h / 3.6e6)
        depth_m = 2.54 * (litres / 1000.0) ** 0.63 * per_flow**0.45
        width_m = 1.82 * (litres / 1000.0) ** 0.22 * per_flow**-0.17
        ks_mm_h = ks_m_s * 3.6e6
        assert drip.bulb_depth_m(litres, flow_l_h, ks_mm_h) == pytest.approx(depth_m, rel=0.001)
        assert drip.bulb_width_m(litres, flow_l_h, ks_mm_h) == pytest.approx(width_m, rel=0.014)


def test_the_usual_efficiency_of_drip_is_nine_tenths() -> None:
    """0.85-0.95, from memory; 300 l through 100 emitters of 2 l/h take 1.666667 h; 1e-6."""
    assert drip.run_time_h(300.0, 100, 2.0) == pytest.approx(1.666667, abs=1e-6)


@pytest.mark.parametrize(
    ("water_ds_m", "soil_ds_m", "share"),
    [
        pytest.param(1.0, 2.5, 0.086957, id="fresh"),
        pytest.param(3.0, 1.5, 0.666667, id="salty"),
        pytest.param(5.0, 1.0, 1.0, id="too-salty"),
    ],
)
def test_salty_water_has_to_drain_more(water_ds_m: float, soil_ds_m: float, share: float) -> None:
    """FAO-56 eq. 93: ECiw/(5 ECe - ECiw); 1e-6."""
    found = drip.leaching_requirement_frac(water_ds_m, soil_ds_m)
    assert found == pytest.approx(share, abs=1e-6)


@pytest.mark.parametrize(
    ("exponent", "flow_l_h"),
    [
        pytest.param(0.5, 1.788854, id="turbulent"),
        pytest.param(1.0, 1.6, id="laminar"),
        pytest.param(0.0, 2.0, id="compensating"),
    ],
)
def test_an_emitter_gives_less_at_four_fifths_of_the_pressure(
    exponent: float, flow_l_h: float
) -> None:
    """q = k h^x, from memory: 2 l/h at 100 kPa, here 80 kPa; 1e-6. Turbulent where not told."""
    found = emitter.emitter_l_h(2.0, 80.0, 100.0, exponent)
    assert found == pytest.approx(flow_l_h, abs=1e-6)
    assert emitter.emitter_l_h(2.0, 80.0, 100.0) == pytest.approx(1.788854, abs=1e-6)


def test_a_small_change_of_pressure_changes_flow_by_half_of_it() -> None:
    """dq/q = x dh/h, and the power law itself within 2e-4 at 4 %."""
    assert emitter.flow_change_frac(0.04) == pytest.approx(0.02, abs=1e-12)
    whole = emitter.emitter_l_h(1.0, 104.0, 100.0) - 1.0
    assert whole == pytest.approx(0.02, abs=2e-4)


def test_evenness_by_design() -> None:
    """Karmeli & Keller 1975, from memory: (1 - 1.27 x 0.05) 1.9/2.0 = 0.889675; 1e-9."""
    found = emitter.emission_uniformity_frac(0.05, 1.0, 1.9, 2.0)
    assert found == pytest.approx(0.889675, abs=1e-9)
    four = emitter.emission_uniformity_frac(0.05, 4.0, 1.9, 2.0)
    assert four == pytest.approx((1.0 - 0.03175) * 0.95, abs=1e-9)


@pytest.mark.parametrize(
    "found",
    [
        pytest.param(drip.strip_mm(4.0, 0.0), id="no-strip"),
        pytest.param(drip.wetted_frac(0.4, 0.0), id="no-ground"),
        pytest.param(drip.bulb_litres(0.4, 0.0, 10.0), id="no-flow"),
        pytest.param(drip.bulb_litres(0.4, 2.0, math.nan), id="no-conductivity"),
        pytest.param(drip.strip_pond_half_width_m(4.0, 0.0, 0.2), id="tight-soil"),
        pytest.param(emitter.emitter_l_h(2.0, 80.0, 0.0), id="no-nominal-pressure"),
        pytest.param(emitter.emitter_l_h(2.0, math.nan, 100.0), id="no-pressure"),
        pytest.param(emitter.emission_uniformity_frac(0.05, 0.0, 1.9, 2.0), id="no-emitters"),
    ],
)
def test_senseless_inputs_give_nan(found: float) -> None:
    assert math.isnan(found)
