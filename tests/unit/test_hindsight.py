"""Hindsight's plan is the cheapest that its rules allow, and its bucket tells what was lived."""

from __future__ import annotations

import random
from datetime import date

import pytest

from controller.garden import Garden, load_garden
from sim.examples import find_garden
from sim.hindsight import Planned, run_hindsight
from sim.hindsight_bucket import Lived, bucket
from sim.hindsight_plan import DAWN_COST_MM, END_COST, GRID, Night, Plan
from sim.rival_season import live_through
from sim.season_run import Replay, prepare

STEP_FRAC = 0.05
COARSE = tuple(-0.10 + STEP_FRAC * i for i in range(23))
FIRST, LAST = date(2025, 7, 1), date(2025, 7, 20)


def place(x: float) -> int:
    """The number of a position on the coarse grid."""
    return round((x + 0.10) / STEP_FRAC)


def random_nights(seed: int) -> list[Night]:
    """Five nights whose days take whole steps of the coarse grid; more from a wet bed."""
    draw = random.Random(seed)
    nights = []
    for _ in range(5):
        use, wet_use = draw.randint(0, 4), draw.randint(0, 2)
        rain = draw.choice([0, 0, 0, 4])
        following = tuple(
            COARSE[max(0, min(22, i + use - rain + (wet_use if x < 0.3 else 0)))]
            for i, x in enumerate(COARSE)
        )
        nights.append(
            Night(
                taw_mm=draw.choice([40.0, 60.0, 80.0]),
                line_frac=draw.choice([0.40, 0.45, 0.50]),
                floor_frac=draw.choice([0.50, 0.55, 0.60]),
                smallest_frac=draw.choice([0.10, 0.20]),
                next_frac=following,
            )
        )
    return nights


def all_ways(nights: list[Night], n: int, s: float, end_frac: float) -> float:
    """The least cost from a position by trying every sequence of doses [mm]."""
    night = nights[n]
    last = n + 1 == len(nights)
    doses = [0.0]
    ahead = None if last else night.next_frac[place(s)] > nights[n + 1].floor_frac + 1e-6
    if s >= night.line_frac - 1e-6 or s > night.floor_frac + 1e-6 or ahead:
        doses += [s - x for x in COARSE if x >= 0.05 - 1e-6 and s - x >= night.smallest_frac - 1e-6]
    costs = []
    for dose in doses:
        x = s - dose
        cost = dose * night.taw_mm + (DAWN_COST_MM if x > night.floor_frac + 1e-6 else 0.0)
        if last:
            cost += END_COST * night.taw_mm * max(0.0, x - end_frac)
        else:
            cost += all_ways(nights, n + 1, night.next_frac[place(x)], end_frac)
        costs.append(cost)
    return min(costs)


def lived_cost(nights: list[Night], plan: Plan, s: float, end_frac: float) -> float:
    """What comes of doing as the plan says [mm]."""
    cost = 0.0
    for n, night in enumerate(nights):
        dose = plan.dose_frac(n, s)
        x = s - dose
        cost += dose * night.taw_mm + (DAWN_COST_MM if x > night.floor_frac + 1e-6 else 0.0)
        if n + 1 == len(nights):
            cost += END_COST * night.taw_mm * max(0.0, x - end_frac)
        else:
            s = night.next_frac[place(x)]
    return cost


@pytest.mark.parametrize("end_frac", [0.15, 0.45], ids=["wet-end", "dry-end"])
@pytest.mark.parametrize("seed", range(12))
def test_the_plan_costs_what_the_best_of_all_sequences_costs(seed: int, end_frac: float) -> None:
    nights = random_nights(seed)
    plan = Plan(nights, end_frac, COARSE)
    for s in (0.10, 0.35, 0.45, 0.70):
        best = all_ways(nights, 0, s, end_frac)
        assert plan.cost_mm(s) == pytest.approx(best, abs=1e-6), (seed, s)
        assert lived_cost(nights, plan, s, end_frac) == pytest.approx(best, abs=1e-6), (seed, s)


def steady(nights: int, *, use_frac: float = 0.10, deeper_mm: float = 0.0) -> list[Night]:
    """Equal dry nights with line 0.40, floor 0.50 and 50 mm, the root zone deeper each night."""
    return [
        Night(
            taw_mm=50.0 + deeper_mm * n,
            line_frac=0.40,
            floor_frac=0.50,
            smallest_frac=0.20,
            next_frac=tuple(x + use_frac for x in GRID),
        )
        for n in range(nights)
    ]


@pytest.mark.parametrize(
    ("s", "waters"),
    [
        pytest.param(0.30, False, id="far-from-the-line"),
        pytest.param(0.45, False, id="past-the-line-but-it-can-wait"),
        pytest.param(0.55, True, id="past-the-floor-by-dawn"),
        pytest.param(float("nan"), False, id="nan"),
    ],
)
def test_it_waters_as_late_as_the_floor_lets_it(s: float, waters: bool) -> None:
    dose = Plan(steady(8), 1.0).dose_frac(0, s)
    assert (dose > 0.0) is waters
    assert dose == 0.0 or 0.20 - 1e-9 <= dose <= s - 0.05 + 1e-9


@pytest.mark.parametrize(
    ("s", "use_frac", "waters"),
    [
        pytest.param(0.41, 0.05, True, id="at-the-line"),
        pytest.param(0.38, 0.05, False, id="short-of-it"),
        pytest.param(0.38, 0.15, True, id="short-of-it-with-the-floor-a-day-off"),
        pytest.param(0.21, 0.35, False, id="floor-a-day-off-but-no-deep-dose-fits"),
    ],
)
def test_the_rules_hold_even_where_water_now_would_be_cheaper(
    s: float, use_frac: float, waters: bool
) -> None:
    # the same share of a root zone that will be many times deeper costs many times more
    plan = Plan(steady(6, use_frac=use_frac, deeper_mm=200.0), 0.3)
    assert (plan.dose_frac(0, s) > 0.0) is waters


def test_a_wetter_end_costs_more_water_and_is_reached() -> None:
    nights = steady(10)
    costs = [Plan(nights, end_frac).cost_mm(0.2) for end_frac in (1.0, 0.4, 0.3, 0.2)]
    assert costs == sorted(costs)
    assert costs[0] < costs[-1]
    s, plan = 0.2, Plan(nights, 0.2)
    for n in range(len(nights)):
        x = s - plan.dose_frac(n, s)
        s = x + 0.10
    assert x <= 0.2 + 0.005


@pytest.fixture(scope="module")
def replay() -> Replay:
    garden: Garden = load_garden(find_garden("hollin-lane"))
    return prepare(garden, "invented-dry", first=FIRST, last=LAST, sure=True)


def lived_by(replay: Replay) -> Planned:
    """Three summer weeks watered late, without a plan."""
    world = replay.world()
    rival = Planned(replay.garden, world, {})
    live_through(replay, world, rival, rival.dawn)
    rival.close()
    return rival


def test_the_bucket_gives_back_the_season_that_it_was_fitted_to(replay: Replay) -> None:
    for name, diary in lived_by(replay).diaries.items():
        nights = bucket(replay.garden.beds[name], diary.truth, diary.nights, 0.0)
        assert len(nights) >= (LAST - FIRST).days
        for night, lived, following in zip(nights, diary.nights, diary.nights[1:], strict=False):
            at = (lived.dawn.depletion_frac - GRID[0]) / 0.005
            low = night.next_frac[int(at)]
            back = low + (at - int(at)) * (night.next_frac[int(at) + 1] - low)
            assert back == pytest.approx(following.dry_frac, abs=0.001), name


def test_a_drier_bed_takes_less_in_the_bucket(replay: Replay) -> None:
    diary = lived_by(replay).diaries["south"]
    night = bucket(replay.garden.beds["south"], diary.truth, diary.nights, 0.0)[10]
    taken = [s - x for x, s in zip(GRID, night.next_frac, strict=True)]
    wet, stressed, dry = (taken[round((x + 0.10) / 0.005)] for x in (0.2, 0.5, 0.8))
    assert wet > stressed > dry


def test_the_diary_holds_the_floors_that_the_books_use(replay: Replay) -> None:
    rival = lived_by(replay)
    lived: list[Lived] = rival.diaries["wall"].nights
    # lean 0.4 shifts line and floor of the setting stage by -0.1 x 0.16
    assert [night.floor_frac for night in lived[:-1]] == pytest.approx([0.484] * (len(lived) - 1))
    assert lived[-1].floor_frac == float("inf")


def test_hindsight_keeps_off_the_floor_and_ends_as_wet_as_told(replay: Replay) -> None:
    beds = replay.garden.beds
    dry = run_hindsight(replay, rounds=2).numbers
    wet = run_hindsight(replay, dict.fromkeys(beds, 0.30), rounds=2).numbers
    for bed in beds:
        assert dry["beds"][bed]["days_past_floor"] == wet["beds"][bed]["days_past_floor"] == 0
        assert wet["beds"][bed]["end_depletion_frac"] <= 0.30 + 0.02
        assert wet["beds"][bed]["litres"] > dry["beds"][bed]["litres"]


def test_hindsight_takes_no_more_than_the_smallest_dose_as_late_as_can_be(replay: Replay) -> None:
    late = lived_by(replay).diaries
    best = run_hindsight(
        replay, {bed: one.nights[-1].dawn.depletion_frac for bed, one in late.items()}
    )
    for bed, one in late.items():
        assert best.numbers["beds"][bed]["litres"] <= 1.01 * one.truth.irrigation_l, bed


def test_hindsight_is_the_same_twice(replay: Replay) -> None:
    one, two = (run_hindsight(replay, rounds=1).numbers for _ in range(2))
    assert one == two
