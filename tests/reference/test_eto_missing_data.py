"""What stands in for what is missing, in its order: FAO-56 chapter 3 and example 20.

Each row takes one thing more away. The numbers of example 20 are the paper's; those for a coast and
for a dry climate were worked out from the printed equations apart from this code.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf, nan
from typing import Any

import pytest

from controller.agronomy.eto import DailyWeather, Site
from controller.agronomy.eto_missing import DayEto, Means, Setting, best_day_eto
from tests.printed import assert_ours

LYON = Site(latitude_deg=45.7167, longitude_deg=4.85, elevation_m=200.0)
BARE = DailyWeather(tmin_c=14.8, tmax_c=26.6)
FULL = replace(BARE, solar_mj_m2_d=22.0, dew_point_c=13.0, wind_m_s=2.1)
MONTHLY = (1.0, 1.4, 2.3, 3.1, 3.9, 4.6, 5.2, 4.4, 3.1, 1.9, 1.1, 0.8)
RECENT = (9.9, 4.0, 4.2, 4.4, 4.6, 4.8, 5.0, 5.2)


def best(
    weather: DailyWeather | None,
    setting: Setting = Setting.INLAND,
    *,
    dry: bool = False,
    recent: tuple[float, ...] = RECENT,
    monthly: tuple[float, ...] | None = MONTHLY,
) -> DayEto | None:
    return best_day_eto(
        weather=weather,
        site=LYON,
        day_of_year=196,
        month=7,
        setting=setting,
        dry_climate=dry,
        recent_mm_d=recent,
        monthly_mm_d=monthly,
    )


@pytest.mark.parametrize(
    ("weather", "setting", "dry", "means", "estimated", "eto_mm_d", "tolerance"),
    [
        pytest.param(
            BARE,
            Setting.INLAND,
            False,
            Means.PENMAN_MONTEITH_ESTIMATED,
            ("radiation", "humidity", "wind"),
            4.56,
            0.01,
            id="fao56-ex20-by-the-order",
        ),
        pytest.param(
            BARE,
            Setting.COAST,
            False,
            Means.PENMAN_MONTEITH_ESTIMATED,
            ("radiation", "humidity", "wind"),
            5.065236,
            1e-6,
            id="coast-krs-0.19",
        ),
        pytest.param(
            BARE,
            Setting.INLAND,
            True,
            Means.PENMAN_MONTEITH_ESTIMATED,
            ("radiation", "humidity", "wind"),
            4.873935,
            1e-6,
            id="dry-climate-dew-2.5-below",
        ),
        pytest.param(
            BARE,
            Setting.ISLAND,
            False,
            Means.HARGREAVES,
            ("all",),
            5.033055,
            0.001,
            id="fao56-ex20-hargreaves-on-an-island",
        ),
        pytest.param(
            None, Setting.INLAND, False, Means.RECENT_MEAN, ("all",), 4.6, 1e-12, id="seven-days"
        ),
    ],
)
def test_each_rule_gives_its_number_and_its_name(
    weather: DailyWeather | None,
    setting: Setting,
    dry: bool,
    means: Means,
    estimated: tuple[str, ...],
    eto_mm_d: float,
    tolerance: float,
) -> None:
    """FAO-56 eq. 48, 50, 52; example 20 to its print rounding."""
    found = best(weather, setting, dry=dry)
    assert found is not None
    assert (found.means, found.estimated) == (means, estimated)
    assert found.eto_mm_d == pytest.approx(eto_mm_d, abs=tolerance)
    if setting is Setting.COAST:
        assert_ours("what stands in for missing weather, at a coast", found.eto_mm_d)


@pytest.mark.parametrize(
    ("lost", "means", "estimated"),
    [
        pytest.param({}, Means.PENMAN_MONTEITH, (), id="all-measured"),
        pytest.param({"wind_m_s": None}, Means.PENMAN_MONTEITH_ESTIMATED, ("wind",), id="no-wind"),
        pytest.param(
            {"dew_point_c": None}, Means.PENMAN_MONTEITH_ESTIMATED, ("humidity",), id="no-humidity"
        ),
        pytest.param(
            {"solar_mj_m2_d": None}, Means.PENMAN_MONTEITH_ESTIMATED, ("radiation",), id="no-sun"
        ),
        pytest.param(
            {"solar_mj_m2_d": nan}, Means.PENMAN_MONTEITH_ESTIMATED, ("radiation",), id="nan-sun"
        ),
        pytest.param(
            {"wind_m_s": inf}, Means.PENMAN_MONTEITH_ESTIMATED, ("wind",), id="endless-wind"
        ),
        pytest.param({"tmin_c": nan}, Means.RECENT_MEAN, ("all",), id="nan-temperature"),
        pytest.param({"tmin_c": 30.0}, Means.RECENT_MEAN, ("all",), id="temperatures-crossed"),
    ],
)
def test_one_thing_less_and_the_next_rule_stands_in(
    lost: dict[str, Any], means: Means, estimated: tuple[str, ...]
) -> None:
    found = best(replace(FULL, **lost))
    assert found is not None
    assert (found.means, found.estimated) == (means, estimated)


@pytest.mark.parametrize(
    ("recent", "monthly", "expected"),
    [
        pytest.param((4.0, 4.6), MONTHLY, 5.2, id="two-days-are-no-mean"),
        pytest.param((4.0, 4.3, 4.6), MONTHLY, 4.3, id="three-are"),
        pytest.param((4.0, nan, -1.0, 4.6), MONTHLY, 5.2, id="what-is-no-number-does-not-count"),
        pytest.param((), None, None, id="nothing-is-made-up"),
        pytest.param((), (5.0,) * 11, None, id="eleven-months-are-no-table"),
        pytest.param((), (nan,) * 12, None, id="a-table-of-no-numbers"),
    ],
)
def test_without_temperatures_the_days_before_and_then_the_table(
    recent: tuple[float, ...], monthly: tuple[float, ...] | None, expected: float | None
) -> None:
    found = best(None, recent=recent, monthly=monthly)
    assert (None if found is None else found.eto_mm_d) == (
        None if expected is None else pytest.approx(expected, abs=1e-12)
    )


def test_a_sun_that_was_measured_makes_an_island_like_any_place() -> None:
    found = best(replace(BARE, sunshine_h=9.0), Setting.ISLAND)
    assert found is not None
    assert found.means is Means.PENMAN_MONTEITH_ESTIMATED
