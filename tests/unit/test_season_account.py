"""The books of a season, in a world whose truth is written down by hand."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, cast

import pytest

from controller.garden import Garden, load_garden
from sim.examples import find_garden
from sim.garden_world import GardenWorld, moved_to
from sim.season_account import (
    HourTruth,
    SeasonAccount,
    late_windows,
    litres_within,
)

HOUR = 3600.0
NIGHT = datetime(2015, 7, 1, 7, tzinfo=UTC).timestamp()  # local midnight at Hollin Lane
DAY = date(2015, 7, 1)


@dataclass
class FakePlant:
    gdd: float = 700.0  # setting: line 0.40, floor 0.50 at lean 0.5
    relative_yield: float = 1.0
    cracking_risk: float = 0.0
    blossom_end_rot_risk: float = 0.0


@dataclass
class FakeSpec:
    cleared_utc_s: float = float("inf")


@dataclass
class FakeBed:
    depletion_frac: float = 0.2
    irrigation_l: float = 0.0
    drained_l: float = 0.0
    rain_drained_l: float = 0.0
    sudden_rewettings: int = 0
    max_depletion_frac: float = 0.2
    plant: FakePlant = field(default_factory=FakePlant)
    spec: FakeSpec = field(default_factory=FakeSpec)


@dataclass
class FakeTruth:
    beds: dict[str, FakeBed]
    now_utc_s: float = NIGHT
    rain_mm_total: float = 0.0

    def litres(self, bed: str) -> float:
        return self.beds[bed].irrigation_l

    def relative_yield(self, bed: str) -> float:
        return float(self.beds[bed].plant.relative_yield)


@dataclass
class FakeWorld:
    truth: FakeTruth


@pytest.fixture
def garden() -> Garden:
    return moved_to(load_garden(find_garden("hollin-lane")), 2015)


@pytest.fixture
def world(garden: Garden) -> FakeWorld:
    return FakeWorld(FakeTruth({name: FakeBed() for name in garden.beds}))


@pytest.fixture
def account(garden: Garden, world: FakeWorld) -> SeasonAccount:
    return SeasonAccount(garden, cast("GardenWorld", world))


def pass_hours(account: SeasonAccount, world: FakeWorld, hours: float) -> None:
    """Live on a grid of ten minutes."""
    for _ in range(round(hours * 6)):
        world.truth.now_utc_s += 600.0
        account.look(world.truth.now_utc_s)


def water(account: SeasonAccount, world: FakeWorld, bed: str, litres: float) -> None:
    """A watering within the hour that now begins, spread over twenty minutes."""
    account.watering(bed, world.truth.now_utc_s)
    for _ in range(2):
        world.truth.beds[bed].irrigation_l += litres / 2.0
        pass_hours(account, world, 1 / 6)
    pass_hours(account, world, 4 / 6)


def bed_of(account: SeasonAccount, bed: str = "south", **picks: tuple[date, ...]) -> dict[str, Any]:
    return cast("dict[str, dict[str, Any]]", account.result(picks)["beds"])[bed]


def test_each_hour_keeps_its_own_water_rain_and_depletion(
    account: SeasonAccount, world: FakeWorld
) -> None:
    world.truth.rain_mm_total = 3.0
    pass_hours(account, world, 1)
    world.truth.beds["south"].depletion_frac = 0.1
    water(account, world, "south", 120.0)
    pass_hours(account, world, 1)
    assert list(account.hours["south"]) == [
        HourTruth(NIGHT + HOUR, 0.2, 3.0, 0.0),
        HourTruth(NIGHT + 2 * HOUR, 0.1, 0.0, 120.0),
        HourTruth(NIGHT + 3 * HOUR, 0.1, 0.0, 0.0),
    ]
    assert [hour.irrigation_l for hour in account.hours["low"]] == [0.0, 0.0, 0.0]


def test_a_look_that_comes_late_still_keeps_every_hour(
    account: SeasonAccount, world: FakeWorld
) -> None:
    world.truth.now_utc_s += 3 * HOUR
    account.look(world.truth.now_utc_s)
    assert [hour.at_utc_s for hour in account.hours["south"]] == [
        NIGHT + HOUR,
        NIGHT + 2 * HOUR,
        NIGHT + 3 * HOUR,
    ]


def test_hours_are_read_by_place_as_in_a_list(account: SeasonAccount, world: FakeWorld) -> None:
    pass_hours(account, world, 5)
    hours = account.hours["south"]
    assert [hour.at_utc_s for hour in hours[1:3]] == [NIGHT + 2 * HOUR, NIGHT + 3 * HOUR]
    assert hours[-1].at_utc_s == next(reversed(hours)).at_utc_s == NIGHT + 5 * HOUR
    with pytest.raises(IndexError):
        hours[5]


def test_water_given_before_the_books_began_is_not_in_their_hours(garden: Garden) -> None:
    world = FakeWorld(FakeTruth({name: FakeBed(irrigation_l=500.0) for name in garden.beds}))
    account = SeasonAccount(garden, cast("GardenWorld", world))
    pass_hours(account, world, 1)
    assert account.hours["south"][0].irrigation_l == 0.0


@pytest.mark.parametrize(
    ("hours_before", "late_l"),
    [(73, 0.0), (72, 90.0), (1, 90.0), (0, 0.0)],
    ids=["before-the-three-days", "their-first-hour", "the-last-hour", "the-day-itself"],
)
def test_water_is_late_from_72_h_before_the_day_of_the_pick_begins(
    account: SeasonAccount, world: FakeWorld, hours_before: int, late_l: float
) -> None:
    pass_hours(account, world, 5 * 24 - hours_before)
    water(account, world, "south", 90.0)
    pass_hours(account, world, hours_before)
    assert bed_of(account, south=(DAY + timedelta(days=5),))["late_litres"] == late_l


def test_a_litre_before_two_picks_is_late_once(account: SeasonAccount, world: FakeWorld) -> None:
    pass_hours(account, world, 4 * 24)
    water(account, world, "south", 90.0)
    pass_hours(account, world, 4 * 24)
    picks = (DAY + timedelta(days=5), DAY + timedelta(days=6))
    assert bed_of(account, south=picks)["late_litres"] == 90.0


def test_without_a_pick_late_litres_are_unknown_and_not_zero(
    account: SeasonAccount, world: FakeWorld
) -> None:
    pass_hours(account, world, 24)
    picked = bed_of(account, "low", south=(DAY + timedelta(days=1),))
    assert picked["late_litres"] is None
    assert bed_of(account, south=(DAY + timedelta(days=1),))["late_litres"] == 0.0


@pytest.mark.parametrize("after_d", [0, 2], ids=["on-the-first-day", "after-the-last"])
def test_a_pick_that_the_books_do_not_reach_does_not_count(
    account: SeasonAccount, world: FakeWorld, after_d: int
) -> None:
    water(account, world, "south", 90.0)
    pass_hours(account, world, 23)
    assert bed_of(account, south=(DAY + timedelta(days=after_d),))["late_litres"] is None


def test_windows_that_meet_are_one_and_a_spring_night_keeps_72_h(garden: Garden) -> None:
    # the clocks of Hollin Lane go forward on 8 March 2015, at 10:00 UTC
    begins = datetime(2015, 3, 9, 7, tzinfo=UTC).timestamp()
    apart = late_windows(garden, [date(2015, 3, 20), date(2015, 3, 9)])
    assert apart[0] == (begins - 72 * HOUR, begins)
    assert len(apart) == 2
    (one,) = late_windows(garden, [date(2015, 3, 9), date(2015, 3, 12)])
    assert one == (begins - 72 * HOUR, begins + 72 * HOUR)


def test_an_hour_half_inside_counts_half() -> None:
    hours = [HourTruth(HOUR, 0.2, 0.0, 10.0), HourTruth(2 * HOUR, 0.2, 0.0, 4.0)]
    assert litres_within(hours, [(HOUR / 2, 2 * HOUR)]) == pytest.approx(9.0)
    assert litres_within(hours, [(3 * HOUR, 4 * HOUR)]) is None


@pytest.mark.parametrize(
    ("depletion", "stress", "past"),
    [(0.40, 0, 0), (0.41, 1, 0), (0.50, 1, 0), (0.51, 1, 1)],
    ids=["on-the-line", "past-the-line", "on-the-floor", "past-the-floor"],
)
def test_a_dawn_is_held_against_line_and_floor(
    account: SeasonAccount, world: FakeWorld, depletion: float, stress: int, past: int
) -> None:
    world.truth.beds["south"].depletion_frac = depletion
    account.look(NIGHT + 5 * HOUR, DAY)
    south = bed_of(account)
    assert south["stress_days"]["setting"] == stress
    assert south["days_past_floor"] == account.result()["days_past_floor"] == past
    assert [dawn.past_floor for dawn in account.dawns["south"]] == [bool(past)]


def test_a_tighter_floor_counts_from_the_second_dawn(
    account: SeasonAccount, world: FakeWorld
) -> None:
    south = world.truth.beds["south"]
    south.plant.gdd, south.depletion_frac = 200.0, 0.58  # vegetative: floor 0.60
    account.look(NIGHT + 5 * HOUR, DAY)
    south.plant.gdd = 350.0  # setting: floor 0.50
    account.look(NIGHT + 29 * HOUR, DAY + timedelta(days=1))
    account.look(NIGHT + 53 * HOUR, DAY + timedelta(days=2))
    assert [dawn.floor_frac for dawn in account.dawns["south"]] == [0.60, 0.60, 0.50]
    assert bed_of(account)["days_past_floor"] == 1


def test_a_bed_without_plants_is_not_held_against_anything(
    account: SeasonAccount, world: FakeWorld
) -> None:
    world.truth.beds["south"].depletion_frac = 0.9
    account.look(NIGHT, date(2015, 5, 8))  # the day before the transplanting
    assert account.dawns["south"] == []
    assert bed_of(account)["days_past_floor"] == 0


def test_what_drained_is_a_share_of_the_irrigation(
    account: SeasonAccount, world: FakeWorld
) -> None:
    south, low = world.truth.beds["south"], world.truth.beds["low"]
    south.irrigation_l, south.drained_l, south.rain_drained_l = 400.0, 60.0, 999.0
    low.irrigation_l = 200.0
    shown = account.result()
    assert bed_of(account)["drained_share"] == 0.15
    assert shown["drained_share"] == 0.1  # 60 of 600 L
    assert bed_of(account, "wall")["drained_share"] is None


def test_without_any_water_no_share_is_made_up(account: SeasonAccount) -> None:
    assert account.result()["drained_share"] is None


def test_the_end_is_now_or_when_the_plants_went(account: SeasonAccount, world: FakeWorld) -> None:
    south, low = world.truth.beds["south"], world.truth.beds["low"]
    south.spec.cleared_utc_s = NIGHT + 2 * HOUR
    south.depletion_frac = low.depletion_frac = 0.3
    pass_hours(account, world, 2)
    south.depletion_frac = low.depletion_frac = 0.05
    pass_hours(account, world, 2)
    assert bed_of(account)["end_depletion_frac"] == 0.3
    assert bed_of(account, "low")["end_depletion_frac"] == 0.05


def test_rewettings_add_up_and_risks_are_the_plants_own(
    account: SeasonAccount, world: FakeWorld
) -> None:
    world.truth.beds["south"].sudden_rewettings = 2
    world.truth.beds["low"].sudden_rewettings = 1
    world.truth.beds["south"].plant = FakePlant(cracking_risk=0.12345, blossom_end_rot_risk=0.3)
    assert account.result()["sudden_rewettings"] == 3
    assert bed_of(account)["cracking_risk"] == pytest.approx(0.1235, abs=1e-4)
    assert bed_of(account)["blossom_end_rot_risk"] == 0.3
