"""Sunrise and sunset keep their order and their day everywhere the sun crosses the horizon."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.agronomy.sun import sun_times_utc_s

days = st.dates(date(1990, 1, 1), date(2090, 12, 31))
EPOCH_ORDINAL = date(1970, 1, 1).toordinal()


@given(latitude=st.floats(-90.0, 90.0), longitude=st.floats(-180.0, 180.0), day=days)
def test_the_sun_rises_before_it_sets_around_that_days_noon(
    latitude: float, longitude: float, day: date
) -> None:
    found = sun_times_utc_s(latitude, longitude, day)
    if found is None:
        assert abs(latitude) > 65.0
        return
    noon = (day.toordinal() - EPOCH_ORDINAL) * 86_400.0 + 43_200.0 - 240.0 * longitude
    rise, fall = found
    assert noon - 45_000.0 <= rise <= noon + 2_000.0
    assert noon - 2_000.0 <= fall <= noon + 45_000.0
    assert rise <= fall


@given(latitude=st.floats(-60.0, 60.0), longitude=st.floats(-180.0, 180.0), day=days)
def test_one_days_sunset_comes_before_the_next_days_sunrise(
    latitude: float, longitude: float, day: date
) -> None:
    today = sun_times_utc_s(latitude, longitude, day)
    after = sun_times_utc_s(latitude, longitude, day + timedelta(days=1))
    assert today is not None
    assert after is not None
    assert today[1] < after[0]
    assert after[0] - today[0] == pytest.approx(86_400.0, abs=400.0)


@pytest.mark.parametrize("latitude", [90.0, -90.0], ids=["north-pole", "south-pole"])
def test_at_a_pole_in_midsummer_there_is_neither(latitude: float) -> None:
    assert sun_times_utc_s(latitude, 0.0, date(2025, 6, 21)) is None
