"""What stands in where the mast tells nothing, in its order, and how much less sure it is."""

from __future__ import annotations

import math
from typing import Any

import pytest

from api import look
from api.desk import FakeDesk
from api.page import front
from controller.agronomy.eto import hargreaves_mm_d
from controller.agronomy.eto_hourly import eto_rate_mm_h
from controller.agronomy.radiation import extraterrestrial_radiation_mj_m2_d
from controller.events import OutlookSpan, RainOutlook, WeatherReading
from controller.garden import Garden
from controller.sensing.estimate import advance
from controller.sensing.payload import decode_weather
from controller.sensing.sky import (
    MAST_FRESH_S,
    day_range_c,
    hear,
    normal_eto_mm_d,
    site_of,
    step_eto_mm,
)
from controller.sensing.sky_sources import (
    ASSUMED_WORDS,
    BOUNDS,
    SOURCE_SD_FRAC,
    EtoSource,
    Reckoned,
    eto_sd_frac,
    foretold_range_c,
    source_sentence,
)
from controller.state import SkyState
from controller.view import picture
from tests.engine_bench import Bench
from tests.engine_garden import START_UTC_S, small_garden

NORMALS_MM_D = (0.5, 0.9, 1.6, 2.6, 3.7, 4.4, 5.1, 4.3, 2.9, 1.5, 0.7, 0.4)
NOON_UTC_S = START_UTC_S + 14 * 3600.0  # 20:00 UTC is near noon in the plot
WHOLE: dict[str, Any] = {"temp_c": 24.0, "rh_pct": 55.0, "solar_w_m2": 700.0, "wind_m_s": 1.2}
HOUR_S = 3600.0
DAY_S = 86_400.0


def garden(*, normals: bool = True) -> Garden:
    plain = small_garden()
    if not normals:
        return plain
    told = plain.model_dump(mode="json", exclude_none=True)
    return Garden.model_validate({**told, "normals": {"eto_mm_d": NORMALS_MM_D}})


def mast(mono_s: float, at_utc_s: float = NOON_UTC_S, **told: Any) -> WeatherReading:
    return WeatherReading(at_utc_s=at_utc_s, mono_s=mono_s, mast="m", **told)


def outlook(hours: float = 24.0, **told: Any) -> OutlookSpan:
    spans = {"from_utc_s": NOON_UTC_S - HOUR_S, "tmin_c": 12.0, "tmax_c": 29.0, **told}
    return OutlookSpan(hours=hours, **spans)


def step_mm(sky: SkyState, mono_s: float = 0.0, **kind: bool) -> float:
    plot = garden(**kind)
    return step_eto_mm(plot, site_of(plot), sky, NOON_UTC_S, mono_s)


# -- the order


def test_the_order_end_to_end_through_the_engine() -> None:
    bench = Bench(garden())

    def live(hours: float, **told: Any) -> dict[str, Any]:
        for _ in range(round(6 * hours)):
            if told:
                bench.step(WeatherReading(**bench.times(), mast="m", **told))
            bench.live(600.0, tick_s=300.0)
        shown: dict[str, Any] = picture(bench.engine.run)["sky"]
        return shown

    def foretell(*spans: OutlookSpan) -> None:
        bench.step(RainOutlook(**bench.times(), spans=spans))

    assert live(0.5)["source"] == "normals"
    assert live(3.0, **WHOLE)["source"] == "mast"
    half = {name: value for name, value in WHOLE.items() if name != "wind_m_s"}
    assert live(1.5, **half)["source"] == "mast"  # the wind is held for two hours
    seen = live(1.5, **half)
    assert (seen["source"], seen["assumed"]) == ("half-mast", ["wind_m_s"])
    said = "Water use is reckoned from the weather instruments; wind is missing, 2 m/s taken."
    assert seen["text"] == said
    foretell(outlook(from_utc_s=bench.at_utc_s, hours=24.0))
    assert live(3.0)["source"] == "outlook"
    foretell()
    assert live(0.5)["source"] == "normals"
    assert live(0.5, **WHOLE)["source"] == "mast"


def lived(sky: SkyState, begin_s: float, days: float, **told: Any) -> float:
    """Let the steps of some days pass, the mast telling `told` before each; gives the end."""
    plot = garden()
    at_utc_s = begin_s
    for _ in range(round(144 * days)):
        at_utc_s += 600.0
        if told:
            hear(sky, mast(at_utc_s, at_utc_s, **told))
        step_eto_mm(plot, site_of(plot), sky, at_utc_s, at_utc_s)
    return at_utc_s


def test_the_last_known_days_go_before_the_normals_for_as_long_as_they_are_recent() -> None:
    sky = SkyState()
    at_utc_s = lived(sky, NOON_UTC_S, 2.9, **WHOLE)
    lived(sky, at_utc_s, 0.2)
    assert sky.reckoned.source == EtoSource.NORMALS, "two whole days are no mean"
    sky = SkyState()
    at_utc_s = lived(sky, NOON_UTC_S, 3.9, **WHOLE)
    days_mm = [one for one in sky.reckoned.recent_mm_d if one is not None]
    assert len(days_mm) == 3
    at_utc_s = lived(sky, at_utc_s, 0.2)
    assert sky.reckoned.source == EtoSource.RECENT_MEAN
    noon_mm = step_eto_mm(garden(), site_of(garden()), sky, NOON_UTC_S + 4 * DAY_S, at_utc_s)
    assert noon_mm == pytest.approx(sum(days_mm) / 3.0 * math.pi / 24.0 / 6.0, rel=0.02)
    at_utc_s = lived(sky, at_utc_s, 3.0)
    assert sky.reckoned.source == EtoSource.RECENT_MEAN
    lived(sky, at_utc_s, 3.0)
    assert sky.reckoned.source == EtoSource.NORMALS, "days that nobody knew push out known ones"


def test_days_without_power_are_days_not_known() -> None:
    sky = SkyState()
    at_utc_s = lived(sky, NOON_UTC_S, 4.9, **WHOLE)
    lived(sky, at_utc_s + 5.0 * DAY_S, 0.1)
    assert sky.reckoned.recent_mm_d.count(None) >= 5
    assert len(sky.reckoned.recent_mm_d) == 7
    assert sky.reckoned.source == EtoSource.NORMALS


def test_a_whole_mast_is_reckoned_as_the_standard_says() -> None:
    sky = SkyState()
    hear(sky, mast(0.0, temp_c=12.0))
    hear(sky, mast(0.0, **WHOLE))
    told = eto_rate_mm_h(
        at_utc_s=NOON_UTC_S, site=site_of(garden()), tmin_c=12.0, tmax_c=24.0, **WHOLE
    )
    assert step_mm(sky) == pytest.approx(told / 6.0, rel=1e-12)
    assert sky.reckoned.source == EtoSource.MAST
    assert sky.reckoned.eto_sd_frac == 0.0


@pytest.mark.parametrize("lost", ["wind_m_s", "rh_pct", "solar_w_m2"])
def test_half_a_mast_is_estimated_by_the_rules_for_missing_data(lost: str) -> None:
    sky, half = SkyState(), {**WHOLE, lost: None}
    hear(sky, mast(0.0, temp_c=12.0))
    hear(sky, mast(0.0, **half))
    told = eto_rate_mm_h(
        at_utc_s=NOON_UTC_S, site=site_of(garden()), tmin_c=12.0, tmax_c=24.0, **half
    )
    assert step_mm(sky) == pytest.approx(told / 6.0, rel=1e-12)
    assert (sky.reckoned.source, sky.reckoned.assumed) == ("half-mast", [lost])


def test_an_outlook_alone_goes_by_hargreaves() -> None:
    sky = SkyState(spans=[outlook()])
    ra = extraterrestrial_radiation_mj_m2_d(47.6, 196)  # 15 July
    told = hargreaves_mm_d(tmin_c=12.0, tmax_c=29.0, ra_mj_m2_d=ra)
    noon_mm = step_mm(sky)
    assert noon_mm == pytest.approx(told * math.pi / 24.0 / 6.0, rel=0.02), "a half sine's top"
    assert sky.reckoned.source == EtoSource.OUTLOOK


def test_a_mast_without_a_thermometer_is_no_mast() -> None:
    sky = SkyState()
    hear(sky, mast(0.0, rh_pct=50.0, wind_m_s=1.0, solar_w_m2=600.0))
    assert step_mm(sky) > 0.0
    assert sky.reckoned.source == EtoSource.NORMALS
    step_mm(sky, normals=False)
    assert sky.reckoned.source == EtoSource.LATITUDE


def test_nothing_known_goes_by_the_months() -> None:
    sky, plot = SkyState(), garden()
    top = math.pi / 24.0 / 6.0
    assert step_mm(sky) == pytest.approx(5.1 * top, rel=0.02)
    assert step_mm(sky, normals=False) == pytest.approx(
        normal_eto_mm_d(small_garden(), NOON_UTC_S) * top, rel=0.02
    )
    assert normal_eto_mm_d(plot, NOON_UTC_S) == 5.1


@pytest.mark.parametrize(
    "spans",
    [
        pytest.param([outlook(tmin_c=None)], id="no-lowest"),
        pytest.param([outlook(hours=6.0)], id="a-quarter-day"),
        pytest.param([outlook(from_utc_s=NOON_UTC_S + HOUR_S)], id="still-to-come"),
        pytest.param([outlook(from_utc_s=NOON_UTC_S - 2 * DAY_S)], id="over"),
        pytest.param([outlook(tmax_c=75.0)], id="impossible"),
        pytest.param([outlook(tmin_c=30.0)], id="crossed"),
    ],
)
def test_what_is_no_day_foretold(spans: list[OutlookSpan]) -> None:
    assert foretold_range_c(spans, NOON_UTC_S) is None


def test_quarters_of_a_day_together_tell_a_day() -> None:
    quarters = [
        outlook(6.0, from_utc_s=NOON_UTC_S + 6 * HOUR_S * n, tmin_c=10.0 + n, tmax_c=20.0 + n)
        for n in (-2, -1, 0, 1)
    ]
    assert foretold_range_c(quarters, NOON_UTC_S) == (8.0, 21.0)


# -- how sure


def test_a_worse_source_is_less_sure() -> None:
    plain = [eto_sd_frac(EtoSource.HALF_MAST, [name]) for name in ("rh_pct", "solar_w_m2")]
    assert plain == [0.0, 0.0], "the filter's own noise was found with these two missing"
    windless = eto_sd_frac(EtoSource.HALF_MAST, ["wind_m_s", "rh_pct", "solar_w_m2"])
    rest = [source for source in EtoSource if source not in (EtoSource.MAST, EtoSource.HALF_MAST)]
    order = [eto_sd_frac(EtoSource.MAST), windless, *(eto_sd_frac(one) for one in rest)]
    assert order == sorted(order)
    assert len(set(order)) == len(order)


def grown_mm2(sd_frac: float, steps: int = 144) -> tuple[float, float]:
    """Variance gained and water used in steps of one ETo [mm2, mm]."""
    run = Bench(small_garden()).engine.run
    water, day = run.state.water["south"], run.days["south"]
    water.var_mm2, water.depletion_mm, water.var_thirst, water.cov_mm = 1.0, 0.0, 0.0, 0.0
    used_mm, water.use_today_mm = water.used_mm, 0.0
    for _ in range(steps):
        advance(water, run.soils["south"], day, 0.03, sd_frac)
    return water.var_mm2 - 1.0, water.used_mm - used_mm


def test_a_day_of_one_wrong_share_is_off_by_that_share_of_its_use() -> None:
    plain_mm2, used_mm = grown_mm2(0.0)
    for sd_frac in (0.08, 0.25, 0.5):
        wider_mm2, same_mm = grown_mm2(sd_frac)
        assert same_mm == used_mm
        assert wider_mm2 - plain_mm2 == pytest.approx((sd_frac * used_mm) ** 2)


def test_the_beds_of_a_garden_without_a_mast_grow_unsure(monkeypatch: pytest.MonkeyPatch) -> None:
    def spread_mm2() -> float:
        bench = Bench(garden())
        bench.engine.state.water["south"].var_mm2 = 4.0
        bench.live(DAY_S / 2.0, tick_s=600.0)
        return bench.engine.state.water["south"].var_mm2

    unsure_mm2 = spread_mm2()
    monkeypatch.setitem(SOURCE_SD_FRAC, EtoSource.NORMALS, 0.0)
    assert spread_mm2() < unsure_mm2


# -- impossible values


@pytest.mark.parametrize("name", list(BOUNDS))
@pytest.mark.parametrize("end", [0, 1])
def test_one_impossible_field_is_left_out_alone(name: str, end: int) -> None:
    sky, low_high = SkyState(), BOUNDS[name]
    hear(sky, mast(0.0, **WHOLE))
    beyond = low_high[end] + (1.0 if end else -1.0)
    told = {one: value - 0.1 for one, value in WHOLE.items()}
    hear(sky, mast(60.0, **{**told, name: beyond}))
    for one in WHOLE:
        assert getattr(sky, one) == (WHOLE[one] if one == name else told[one])
    assert sky.reckoned.refused == {name: beyond}
    assert day_range_c(sky) == ((24.0, 24.0) if name == "temp_c" else (23.9, 24.0))
    hear(sky, mast(60.0 + MAST_FRESH_S + 1.0, **{**told, name: beyond}))
    assert getattr(sky, name) is None, "held for two hours, then missing"
    hear(sky, mast(60.0 + MAST_FRESH_S + 2.0, **told))
    assert getattr(sky, name) == told[name]
    assert sky.reckoned.refused == {}


def test_the_bounds_themselves_are_possible() -> None:
    for name, (low, high) in BOUNDS.items():
        for value in (low, high):
            sky = SkyState()
            hear(sky, mast(0.0, **{name: value}))
            assert getattr(sky, name) == value


def test_an_impossible_value_comes_from_the_wire_and_is_said() -> None:
    payload = b'{"temp_c": 21.5, "rh_pct": 65535, "solar_w_m2": -999, "wind_m_s": 80}'
    bench = Bench(garden())
    bench.step(decode_weather(payload, "m", **bench.times()))
    bench.live(1200.0, tick_s=300.0)
    told = picture(bench.engine.run)["sky"]
    assert told["refused"] == {"rh_pct": 65535.0, "solar_w_m2": -999.0, "wind_m_s": 80.0}
    assert told["source"] == "half-mast"
    assert "The weather instruments tell a wind of 80 m/s: impossible, left out." in told["text"]
    assert bench.engine.state.sky.temp_c == 21.5


def test_a_mast_that_lost_an_instrument_before_a_restart_does_not_get_it_back() -> None:
    bench = Bench(garden())
    bench.live(5 * HOUR_S, tick_s=600.0)
    bench.step(WeatherReading(**bench.times(), mast="m", **WHOLE))
    bench.restart(60.0)
    bench.step(WeatherReading(**bench.times(), mast="m", temp_c=20.0))
    assert bench.engine.state.sky.wind_m_s is None


# -- what is said


@pytest.mark.parametrize("source", list(EtoSource))
def test_every_source_has_a_sentence(source: EtoSource) -> None:
    said = source_sentence(Reckoned(source=source.value))
    assert said.endswith(".")
    assert len(said) > 20


def test_all_that_is_missing_is_named() -> None:
    said = source_sentence(Reckoned(source="half-mast", assumed=list(ASSUMED_WORDS)))
    for word in ("wind", "humidity", "sunshine"):
        assert f"{word} is missing" in said
    assert source_sentence(Reckoned()) == ""


def test_why_and_the_page_say_it() -> None:
    desk = FakeDesk()
    said = "Water use is reckoned from the weather instruments; wind is missing, 2 m/s taken."
    assert said in look.why("south", desk.view())
    assert front.context(desk, "10")["sky"] == said
