"""The yardstick itself: Richards' equation solved here, against what is known of it.

Celia, Bouloutas & Zarba 1990, Water Resour. Res. 26:1483, the van Genuchten soil (set-up from
memory, values recomputed with an independent solver on four grids): a metre at -1000 cm, the
surface held at -75 cm for a day. Green & Ampt, the closed-form drainage and Gardner's limit as in
the tests of the column; here the saturated fringe has its suction too, so that Green & Ampt's 16.7
cm is the whole integral of K/Ks over tension: psi_e (1 + b/(b + 3)).
"""

from __future__ import annotations

import numpy as np
import pytest

from sim.soil_curve import MM_PER_KPA, Curve
from sim.winter.richards import Campbell, Cells, Ends, Richards, VanGenuchten
from tests.printed import assert_ours

CELIA = VanGenuchten(
    theta_r_m3_m3=0.102,
    theta_s_m3_m3=0.368,
    alpha_per_mm=0.00335,
    n=2.0,
    ks_mm_h=0.00922 * 36000.0,
)
HELD = Ends(top_head_mm=-750.0, bottom_head_mm=-10000.0)


def celia(cells: int, *, conservative: bool = True, step_h: float | None = None) -> Richards:
    """A day of it; without a step's length it finds its own."""
    found = Richards(CELIA, 1000.0 / cells, np.full(cells, -10000.0), conservative=conservative)
    if step_h is None:
        found.run(24.0, HELD, step_h=1e-4, longest_h=0.05)
    else:
        found.run(24.0, HELD, step_h=step_h, longest_h=step_h)
    return found


def depth_cm(found: Richards, values: Cells, wanted: float) -> float:
    """Where a falling quantity passes a value."""
    depths = (np.arange(values.size) + 0.5) * found.cell_mm / 10.0
    return float(np.interp(-wanted, -values, depths))


def front_cm(found: Richards) -> float:
    ends = CELIA.theta_m3_m3(np.array([-750.0, -10000.0]))
    return depth_cm(found, found.theta_m3_m3(), float(ends.mean()))


@pytest.fixture(scope="module")
def fine() -> Richards:
    return celia(200)


@pytest.mark.parametrize(
    ("what", "value", "tolerance"),
    [
        pytest.param("front", 50.4, 0.5, id="celia-1990-vg-middle-of-the-front"),
        pytest.param("-200", 53.7, 0.6, id="celia-1990-vg-head-minus-200-cm"),
        pytest.param("-500", 56.5, 1.0, id="celia-1990-vg-head-minus-500-cm"),
        pytest.param("at 40 cm", -100.4, 1.0, id="celia-1990-vg-head-at-40-cm"),
        pytest.param("inflow", 4.11, 0.05, id="celia-1990-vg-cumulative-inflow"),
        pytest.param("ratio", 1.0, 0.0001, id="celia-1990-vg-mass-balance-ratio"),
    ],
)
def test_celia(fine: Richards, what: str, value: float, tolerance: float) -> None:
    depths = (np.arange(200) + 0.5) * 0.5
    ours = {
        "front": front_cm(fine),
        "-200": depth_cm(fine, fine.head_mm, -2000.0),
        "-500": depth_cm(fine, fine.head_mm, -5000.0),
        "at 40 cm": float(np.interp(40.0, depths, fine.head_mm)) / 10.0,
        "inflow": fine.entered_mm / 10.0,
        "ratio": fine.mass_ratio(),
    }[what]
    assert ours == pytest.approx(value, abs=tolerance)
    if what == "front":
        assert_ours("infiltration by Richards: middle of the front after a day", ours)
    elif what == "ratio":
        assert_ours("the same: water made or lost, as a ratio", ours)


def test_the_coarse_grid_is_as_far_off_as_it_is_known_to_be() -> None:
    """40 cells, steps of 144 s: 50.75 and 58.5 cm by the independent solver."""
    coarse = celia(40, step_h=144.0 / 3600.0)
    assert front_cm(coarse) == pytest.approx(50.75, abs=0.1)
    assert depth_cm(coarse, coarse.head_mm, -5000.0) == pytest.approx(58.5, abs=0.5)
    assert coarse.mass_ratio() == pytest.approx(1.0, abs=1e-9)


def test_the_form_that_is_not_conservative_fails() -> None:
    """Capacity times the change of head loses water and with it the front's place."""
    wrong = celia(200, conservative=False)
    assert wrong.mass_ratio() < 0.99
    assert abs(front_cm(wrong) - 50.4) > 0.5


B = 4.27
SILT_LOAM = Campbell(
    Curve(
        theta_s_m3_m3=0.486,
        entry_tension_kpa=167.0 / (1.0 + B / (B + 3.0)) / MM_PER_KPA,
        b=B,
        ks_mm_h=6.5,
    )
)


def test_a_pond_goes_in_as_green_and_ampt_have_it() -> None:
    """2.144, 3.17 and 4.754 cm after 0.5, 1 and 2 h; a real front is not sharp: 5 %."""
    found = Richards(SILT_LOAM, 2.5, np.full(160, SILT_LOAM.head_mm(0.146)))
    for hours, published_cm in ((0.5, 2.144), (0.5, 3.17), (1.0, 4.754)):
        found.run(hours, Ends(top_head_mm=0.0), step_h=1e-5, longest_h=0.02)
        assert found.entered_mm / 10.0 == pytest.approx(published_cm, rel=0.05)
    assert found.mass_error_mm() == pytest.approx(0.0, abs=1e-6)


def test_one_cell_drains_as_the_closed_form() -> None:
    """One layer under unit gradient from just below saturation; 0.001 m3/m3."""
    loam = Campbell(Curve(theta_s_m3_m3=0.4595, entry_tension_kpa=1.5, b=5.3512, ks_mm_h=15.4757))
    found = Richards(loam, 300.0, np.array([loam.head_mm(0.4594)]))
    for days, theta in ((0.5, 0.365806), (0.5, 0.347144), (1.0, 0.329079), (3.0, 0.306386)):
        found.run(24.0 * days, Ends(), step_h=1e-4, longest_h=0.1)
        assert float(found.theta_m3_m3()[0]) == pytest.approx(theta, abs=0.001)


@pytest.mark.parametrize(
    ("b", "limit_mm_h"),
    [
        pytest.param(3.0, 0.040926, id="gardner-max-evaporation-n-3-richards"),
        pytest.param(1.5, 0.005872, id="gardner-max-evaporation-n-4-richards"),
    ],
)
def test_what_rises_from_a_water_table_is_gardners_limit(b: float, limit_mm_h: float) -> None:
    """A table 0.6 m down, 5 mm cells: within 6 %, from above, and nearer with finer cells."""
    soil = Campbell(
        Curve(theta_s_m3_m3=0.45, entry_tension_kpa=100.0 / MM_PER_KPA, b=b, ks_mm_h=5.0)
    )
    thirsty = Ends(top_mm_h=-2.0, driest_mm=-1.5e5, bottom_head_mm=0.0)
    off = []
    for cell_mm in (10.0, 5.0):
        cells = round(600.0 / cell_mm)
        found = Richards(soil, cell_mm, -(600.0 - (np.arange(cells) + 0.5) * cell_mm))
        found.run(24.0 * 200.0, thirsty, step_h=1e-4, longest_h=24.0)
        before = found.entered_mm
        found.run(48.0, thirsty, longest_h=24.0)
        off.append((before - found.entered_mm) / 48.0 / limit_mm_h - 1.0)
    assert 0.0 < off[1] < 0.06
    assert off[1] < off[0]


def test_soil_at_rest_stays_at_rest() -> None:
    """Over a water table the head rises as the depth does: nothing moves."""
    soil = SILT_LOAM
    heads = -(600.0 - (np.arange(120) + 0.5) * 5.0)
    found = Richards(soil, 5.0, heads.copy())
    found.run(240.0, Ends(bottom_head_mm=0.0), step_h=1.0, longest_h=24.0)
    assert found.head_mm == pytest.approx(heads, abs=1e-6)
    assert found.drained_mm == pytest.approx(0.0, abs=1e-9)


def test_what_cannot_be_solved_is_said() -> None:
    """A column that is full to the brim and shut below has no room for what it is given."""
    full = Richards(SILT_LOAM, 5.0, np.full(4, -1.0))
    with pytest.raises(ArithmeticError, match="no step down to"):
        full.run(1.0, Ends(top_mm_h=1.0, wettest_mm=1e9, bottom_head_mm=-1e5, bottom_gives=False))
