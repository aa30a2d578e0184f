"""The rivals give what they say: litres by month, three nights at once, refills from a fifth on."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from controller.garden import Garden, load_garden
from sim.examples import find_garden
from sim.garden_world import GardenWorld, Span, midnight_utc_s, moved_to
from sim.rival_run import ONE_PASS, RIVALS
from sim.rivals import DailyClock, KeepMoist, NightValves, ThirdDayClock
from sim.season_types import Day, Place, Season, WorldHour

YEAR = 2015
FIRST, LAST = date(YEAR, 5, 9), date(YEAR, 8, 31)
# Every day has 20 °C, so 10 degree-days: by July the cover is full (480 °C d on 26 June) and no
# plant has begun to age (1150 °C d on 1 September). Full-grown plants take 1.12 ETo and the bare
# ground between them 0.25 x (1 - 0.80) = 0.05 ETo.
ETO_MM = {5: 4.0, 6: 4.0, 7: 5.0, 8: 3.0, 9: 3.0}
# 1.17 x 5.0 mm / 0.9 and 1.17 x 3.0 mm / 0.9, over 24 x 0.6 x 1.2 = 17.28 m2
JULY_L, AUGUST_L = 112.32, 67.392
FLOW_L_MIN = 2.4  # 72 emitters of 2.0 L/h


def hand_made(garden: Garden) -> Season:
    """Even days without rain whose evapotranspiration changes with the month."""
    days = [date(YEAR, 5, 1) + timedelta(days=n) for n in range(130)]
    begin_s = midnight_utc_s(garden, days[0])
    hours = tuple(
        WorldHour(
            at_utc_s=begin_s + 3600.0 * n,
            temp_c=20.0,
            rh_pct=60.0,
            rain_mm=0.0,
            solar_w_m2=400.0,
            wind_m_s=1.0,
        )
        for n in range(24 * len(days))
    )
    daily = tuple(
        Day(
            date=day,
            start_utc_s=midnight_utc_s(garden, day),
            tmin_c=20.0,
            tmax_c=20.0,
            rain_mm=0.0,
            eto_mm=ETO_MM[day.month],
        )
        for day in days
    )
    info = garden.garden
    place = Place(
        latitude_deg=info.latitude,
        longitude_deg=info.longitude,
        elevation_m=60.0,
        timezone=info.timezone,
    )
    return Season(
        source="hand-made",
        place=place,
        hours=hours,
        reported=frozenset({"temp_c"}),
        estimated=(),
        daily=daily,
    )


@pytest.fixture(scope="module")
def garden() -> Garden:
    return moved_to(load_garden(find_garden("hollin-lane")), YEAR)


@pytest.fixture(scope="module")
def season(garden: Garden) -> Season:
    return hand_made(garden)


def span(garden: Garden) -> Span:
    return Span(
        first=FIRST,
        last=LAST,
        from_utc_s=midnight_utc_s(garden, FIRST),
        to_utc_s=midnight_utc_s(garden, LAST + timedelta(days=1)),
    )


def world_of(
    garden: Garden,
    season: Season,
    day: date = FIRST,
    depletion_frac: dict[str, float] | None = None,
) -> GardenWorld:
    return GardenWorld(
        garden, season, midnight_utc_s(garden, day), sure=True, depletion_frac=depletion_frac
    )


def clocks(garden: Garden, season: Season) -> tuple[DailyClock, ThirdDayClock]:
    world = world_of(garden, season)
    return (
        DailyClock(garden, season, span(garden), world),
        ThirdDayClock(garden, season, span(garden), world),
    )


@pytest.mark.parametrize(
    ("night", "litres"),
    [
        pytest.param(date(YEAR, 7, 1), JULY_L, id="first-of-july"),
        pytest.param(date(YEAR, 7, 31), JULY_L, id="last-of-july"),
        pytest.param(date(YEAR, 8, 1), AUGUST_L, id="set-anew-in-august"),
        pytest.param(date(YEAR, 5, 8), 0.0, id="not-planted-yet"),
        pytest.param(date(YEAR, 9, 1), 0.0, id="season-over"),
    ],
)
def test_the_daily_clock_gives_the_months_mean_use_over_point_nine(
    garden: Garden, season: Season, night: date, litres: float
) -> None:
    daily, _ = clocks(garden, season)
    assert daily.litres("south", night) == pytest.approx(litres, abs=0.001)
    assert daily.open_s("south", night, 0.0) == pytest.approx(60.0 * litres / FLOW_L_MIN, abs=0.1)


@pytest.mark.parametrize(
    ("night", "litres"),
    [
        pytest.param(date(YEAR, 7, 8), 3.0 * JULY_L, id="sixtieth-day"),
        pytest.param(date(YEAR, 7, 9), 0.0, id="the-night-after"),
        pytest.param(date(YEAR, 7, 10), 0.0, id="two-nights-after"),
        pytest.param(date(YEAR, 7, 11), 3.0 * JULY_L, id="three-nights-after"),
        pytest.param(date(YEAR, 7, 29), 3.0 * JULY_L, id="ends-with-july"),
        pytest.param(date(YEAR, 8, 31), AUGUST_L, id="only-one-night-left"),
    ],
)
def test_the_third_day_clock_gives_three_nights_at_once(
    garden: Garden, season: Season, night: date, litres: float
) -> None:
    _, third = clocks(garden, season)
    assert third.open_s("south", night, 0.0) == pytest.approx(60.0 * litres / FLOW_L_MIN, abs=0.1)


def test_both_clocks_give_the_same_litres_in_a_season(garden: Garden, season: Season) -> None:
    nights = [FIRST + timedelta(days=n) for n in range((LAST - FIRST).days + 5)]
    daily, third = (
        sum(clock.open_s("low", night, 0.0) for night in nights) for clock in clocks(garden, season)
    )
    assert daily > 0.0
    assert third == pytest.approx(daily, rel=1e-9)


@pytest.mark.parametrize("clock", [0, 1], ids=["daily", "third-day"])
def test_what_a_night_was_too_short_for_is_not_lost_by_a_clock(
    garden: Garden, season: Season, clock: int
) -> None:
    one = clocks(garden, season)[clock]
    night = date(YEAR, 7, 10)
    assert one.open_s("south", night, 500.0) == one.open_s("south", night, 0.0) + 500.0


@pytest.mark.parametrize(
    ("depletion_frac", "opens"),
    [
        pytest.param(0.19, False, id="not-yet-a-fifth"),
        pytest.param(0.21, True, id="past-a-fifth"),
        pytest.param(0.35, True, id="well-past"),
    ],
)
def test_keep_moist_refills_to_full_from_a_fifth_on(
    garden: Garden, season: Season, depletion_frac: float, opens: bool
) -> None:
    world = world_of(garden, season, depletion_frac={"hedge": depletion_frac})
    seconds = KeepMoist(world).open_s("hedge", FIRST, 900.0)
    # hedge: 0.30 - 0.12 m3/m3 over 200 mm of young roots, a strip of 24 x 0.6 x 0.7 m2
    lacks_l = depletion_frac * 0.18 * 200.0 * 10.08
    wanted_s = 60.0 * lacks_l / FLOW_L_MIN if opens else 0.0
    assert seconds == pytest.approx(wanted_s, rel=0.001)


class Told:
    """A rival that opens each bed once for the seconds told."""

    def __init__(self, seconds: dict[str, float]) -> None:
        self.seconds = seconds
        self.asked: list[tuple[str, date]] = []

    def open_s(self, bed: str, night: date, left_s: float) -> float:
        self.asked.append((bed, night))
        return left_s + self.seconds.pop(bed, 0.0)


def live_hours(world: GardenWorld, valves: NightValves, hours: int) -> list[str]:
    """Live on the ten-minute grid; answer the beds in the order in which they began."""
    began: list[str] = []
    garden, start_s = world.garden, world.truth.now_utc_s
    for n in range(1, 6 * hours + 1):
        began += valves.live(start_s + 600.0 * n)
        world.advance(start_s + 600.0 * n)
        open_now = sum(bed.flow_l_min > 0.0 for bed in world.truth.beds.values())
        assert open_now <= garden.garden.beds_at_once
        local = datetime.fromtimestamp(world.truth.now_utc_s, UTC).astimezone(garden.garden.zone)
        assert open_now == 0 or local.hour >= 22 or local.hour < 6
    return began


def test_each_bed_gets_its_seconds_and_no_more_than_three_are_open(
    garden: Garden, season: Season
) -> None:
    world = world_of(garden, season, date(YEAR, 7, 1))
    seconds = {"south": 1234.5, "wall": 4000.0, "low": 777.0, "hedge": 61.0}
    began = live_hours(world, NightValves(garden, world, Told(dict(seconds))), 36)
    assert began == ["south", "wall", "low", "hedge"]
    for bed, open_s in seconds.items():
        flow_l_min = garden.beds[bed].flow_l_min
        assert world.truth.litres(bed) == pytest.approx(open_s * flow_l_min / 60.0, abs=0.01)


def test_a_watering_too_long_for_its_night_goes_on_in_the_next_and_counts_once(
    garden: Garden, season: Season
) -> None:
    world = world_of(garden, season, date(YEAR, 7, 1))
    rival = Told({"south": 20_000.0})  # with its soaks more than the dark hours left
    valves = NightValves(garden, world, rival)
    wanted_l = 20_000.0 * FLOW_L_MIN / 60.0
    began = live_hours(world, valves, 8)
    assert 0.2 * wanted_l < world.truth.litres("south") < 0.9 * wanted_l
    began += live_hours(world, valves, 24)
    assert began == ["south"]
    assert world.truth.litres("south") == pytest.approx(wanted_l, abs=0.01)


def test_a_rival_is_asked_once_a_night_and_never_before_planting(
    garden: Garden, season: Season
) -> None:
    world = world_of(garden, season, FIRST)
    rival = Told({})
    live_hours(world, NightValves(garden, world, rival), 48)
    nights = [night for bed, night in rival.asked if bed == "south"]
    assert nights == [FIRST, FIRST + timedelta(days=1)]


def test_the_rivals_have_the_names_of_the_wire() -> None:
    assert RIVALS == ("daily-clock", "third-day-clock", "keep-moist", "hindsight")
    assert set(ONE_PASS) < set(RIVALS)
