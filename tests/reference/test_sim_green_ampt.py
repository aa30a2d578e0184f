"""The simulated soil under a pond and under heavy rain, against Green & Ampt.

Silt loam of Chow, Maidment & Mays 1988, Applied Hydrology, examples 4.3.1 and 4.4.1 (numbering from
memory): K 0.65 cm/h, suction at the front 16.7 cm, 0.34 m3/m3 of room; after 1 h 3.17 cm are in and
1.81 cm/h enter; rain of 5 cm/h ponds after 0.17 h with 0.85 cm in. F(0.5 h) and F(2 h) are the same
equation F - psi dth ln(1 + F/(psi dth)) = K t worked apart.

The column's soil: contents 0.486 and 0.146 (effective porosity, 30 % saturated), Campbell's b 4.27
(1 / pore-size index 0.234 of silt loam, Rawls, Brakensiek & Saxton 1982, from memory) and the entry
tension whose Phi at saturation is K times the suction: psi_e = 16.7 cm (b + 3)/b.

How far off: Green & Ampt's front is sharp and all behind it is saturated. Ours is not: it conducts
less behind the front. It takes in about a tenth less, more so as time goes on, and ponds sooner.
"""

from __future__ import annotations

import pytest

from sim.soil_column import SoilColumn
from sim.soil_curve import Curve

B = 4.27
START = 0.146
SILT_LOAM = Curve(
    theta_s_m3_m3=0.486, entry_tension_kpa=167.0 * (B + 3.0) / B / 101.97, b=B, ks_mm_h=6.5
)
FINE_MM = (5.0,) * 80
GARDEN_MM = (50.0, 50.0, *(90.0,) * 5, *(150.0,) * 3)  # of a garden's column, roots to 0.55 m


def dry(thickness_mm: tuple[float, ...]) -> SoilColumn:
    return SoilColumn(
        SILT_LOAM,
        thickness_mm=thickness_mm,
        zone_layers=1,
        theta_m3_m3=(START,) * len(thickness_mm),
        wilting_point_m3_m3=0.1,
    )


def taken_cm(column: SoilColumn) -> float:
    return (sum(column.water_mm) - START * sum(column.thickness_mm) + column.drained_mm) / 10.0


def pond(column: SoilColumn, hours: float) -> None:
    for _ in range(round(hours * 100)):
        column.step(0.01, irrigation_mm_h=300.0)
        assert column.pond_mm > 0.0


@pytest.mark.parametrize("layers", [pytest.param(FINE_MM, id="5-mm-layers")])
@pytest.mark.parametrize(
    ("hours", "published_cm", "off_pct"),
    [
        pytest.param(0.5, 2.144, -9.5, id="green-ampt-silt-loam-half-an-hour"),
        pytest.param(1.0, 3.17, -11.2, id="green-ampt-silt-loam-one-hour"),
        pytest.param(2.0, 4.754, -13.2, id="green-ampt-silt-loam-two-hours"),
    ],
)
def test_fine_layers_take_in_a_tenth_less_than_a_sharp_front(
    layers: tuple[float, ...], hours: float, published_cm: float, off_pct: float
) -> None:
    """Never more than 15 % off; the stated difference holds within one point."""
    column = dry(layers)
    pond(column, hours)
    difference_pct = 100.0 * (taken_cm(column) / published_cm - 1.0)
    assert -15.0 < difference_pct < 0.0
    assert difference_pct == pytest.approx(off_pct, abs=1.0)


@pytest.mark.parametrize(
    ("hours", "published_cm", "off_pct"),
    [
        pytest.param(0.5, 2.144, -10.5, id="green-ampt-silt-loam-half-an-hour"),
        pytest.param(1.0, 3.17, -9.8, id="green-ampt-silt-loam-one-hour"),
        pytest.param(2.0, 4.754, -11.9, id="green-ampt-silt-loam-two-hours"),
    ],
)
def test_a_gardens_thick_layers_are_no_further_off(
    hours: float, published_cm: float, off_pct: float
) -> None:
    """Never more than 15 % off from half an hour on; the difference holds within one point."""
    column = dry(GARDEN_MM)
    pond(column, hours)
    difference_pct = 100.0 * (taken_cm(column) / published_cm - 1.0)
    assert -15.0 < difference_pct < 0.0
    assert difference_pct == pytest.approx(off_pct, abs=1.0)


def test_a_garden_s_first_layer_takes_in_too_little_in_the_first_minute() -> None:
    """0.276 cm after 36 s by Green & Ampt; 50 mm of soil 25 mm off the surface take a fifth."""
    column = dry(GARDEN_MM)
    pond(column, 0.01)
    assert taken_cm(column) == pytest.approx(0.05, abs=0.005)


def test_the_rate_after_an_hour_is_a_sixth_below_the_published_one() -> None:
    """1.81 cm/h; ours 1.53: -15 %, within 18 %."""
    column = dry(FINE_MM)
    pond(column, 0.95)
    before = taken_cm(column)
    pond(column, 0.1)
    rate = (taken_cm(column) - before) / 0.1
    assert rate == pytest.approx(1.81, rel=0.18)
    assert rate < 1.81


@pytest.mark.parametrize(("hours", "taken"), [pytest.param(0.17, 0.85, id="green-ampt-ponding")])
def test_heavy_rain_ponds_a_little_sooner_than_published(hours: float, taken: float) -> None:
    """0.17 h and 0.85 cm; ours 0.158 h and 0.79 cm: -7 %, within 10 %."""
    column = dry(FINE_MM)
    steps = 0
    while column.pond_mm == 0.0:
        column.step(0.002, irrigation_mm_h=50.0)
        steps += 1
    assert steps * 0.002 == pytest.approx(hours, rel=0.10)
    assert taken_cm(column) == pytest.approx(taken, rel=0.10)


def test_rain_slower_than_the_soil_takes_never_ponds() -> None:
    column = dry(FINE_MM)
    for _ in range(200):
        column.step(0.05, irrigation_mm_h=6.0)
        assert column.pond_mm == 0.0
    assert taken_cm(column) == pytest.approx(6.0, abs=1e-9)
