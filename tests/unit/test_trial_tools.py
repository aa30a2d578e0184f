"""The trials' own tools: what is kept, what is counted, and how it is judged."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from controller import unseen_rain
from controller.errors import UsageError
from controller.garden import Garden, load_garden
from sim import blind_frontier, blind_trials, eye_trials, frontier
from sim.blind_trials import BLIND_S, Store, begin_utc_s, blindness, taken_l
from sim.examples import find_garden
from sim.faults import Kind
from sim.frontier import OURS, Point, at_yield
from sim.garden_world import GardenWorld
from sim.kept_lines import KeptLines
from sim.plant import Plant
from sim.replay import run_policy
from sim.rival_run import KEPT_OFF_FRAC
from sim.season_account import HourTruth
from sim.season_run import prepare
from sim.sweep_rows import BedRow
from sim.verdicts import Target, as_markdown

HOUR_S = 3600.0


@pytest.fixture(scope="module")
def garden() -> Garden:
    found: Garden = load_garden(find_garden("hollin-lane"))
    return found


# -- what is kept


def test_trials_are_kept_and_a_torn_line_is_dropped(tmp_path: Path) -> None:
    path = tmp_path / "trials"
    KeptLines(path, {"trials": "x"}).add("a", {"value": 1.5})
    KeptLines(path, {"trials": "x"}).add("b", {"value": 2})
    with path.open("a", encoding="utf-8") as file:
        file.write('{"key": "c", "val')
    again = KeptLines(path, {"trials": "x"})
    assert set(again.kept) == {"a", "b"}
    again.add("c", {"value": 3})
    assert KeptLines(path, {"trials": "x"}).kept["c"] == {"key": "c", "value": 3}


@pytest.mark.parametrize("text", ['{"trials": "y"}\n', "no trials at all\n"])
def test_a_file_of_other_trials_is_left_as_it_is(tmp_path: Path, text: str) -> None:
    path = tmp_path / "trials"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError, match="cannot be used"):
        KeptLines(path, {"trials": "x"})
    assert path.read_text(encoding="utf-8") == text


def test_a_line_without_a_target_only_tells_and_no_number_never_holds() -> None:
    told: Target[float] = Target(words="told", of=sum)
    asked: Target[float] = Target(words="asked", of=sum, most_value=1.0)
    assert told.holds(math.nan)
    assert told.asked == ""
    assert not asked.holds(math.nan)
    assert asked.holds(1.0)


# -- the blind fortnight


def hours(spec: list[tuple[float, float]]) -> list[HourTruth]:
    """An hour each of (depletion, litres), the first one ending at the fortnight's beginning."""
    return [HourTruth(i * HOUR_S, d, 0.0, litres) for i, (d, litres) in enumerate(spec)]


def test_what_a_bed_took_is_what_it_was_given_and_what_its_store_lost() -> None:
    whole = round(BLIND_S / HOUR_S)
    books = hours([(0.2, 99.0)] + [(0.3, 2.0)] * whole + [(0.9, 500.0)])
    # 2 L in each of 336 hours; lacks 0.3 x 1100 L at the end, 0.2 x 1000 L at the beginning
    assert taken_l(books, 0.0, Store(begin_l=1000.0, end_l=1100.0)) == pytest.approx(
        672.0 + 330.0 - 200.0
    )


@pytest.mark.parametrize("sky", blind_trials.SKIES)
def test_every_probe_is_silent_for_two_weeks(garden: Garden, sky: str) -> None:
    script = blindness(garden, 1000.0, sky)
    silent = {fault.name for fault in script.faults if fault.kind is Kind.PROBE}
    assert silent == set(garden.probes)
    assert {(f.start_s, f.end_s) for f in script.faults} == {(1000.0, 1000.0 + BLIND_S)}
    masts = {fault.name for fault in script.faults if fault.kind is Kind.WEATHER}
    assert masts == (set(garden.weather) if sky == "unknown" else set())


def test_the_fortnight_lies_in_the_season_and_is_the_worlds_own(garden: Garden) -> None:
    begins = set()
    one = prepare(garden, "invented-dry")
    for seed in range(40):
        replay = replace(one, seed=seed)
        begin_s = begin_utc_s(replay)
        assert begin_s == begin_utc_s(replay)
        assert (begin_s - replay.span.from_utc_s) % HOUR_S == 0.0
        assert replay.span.from_utc_s <= begin_s
        assert begin_s + BLIND_S < replay.span.to_utc_s
        begins.add(begin_s)
    assert len(begins) > 30


def trial(**bed: Any) -> dict[str, Any]:
    told = {
        "ours_l": 300.0,
        "hindsight_l": 300.0,
        "sighted_l": 300.0,
        "store_l": 900.0,
        "drained_l": 0.0,
        "sighted_drained_l": 0.0,
        "called": True,
        **bed,
    }
    return {"sky": "known", "relative_yield": 0.95, "beds": {"south": told}}


@pytest.mark.parametrize(
    ("bed", "failing"),
    [
        pytest.param({}, set(), id="as-asked"),
        pytest.param(
            {"ours_l": 480.0},
            {"water to `hindsight`, median", "bed-fortnights outside 0.6 to 1.5"},
            id="too-much",
        ),
        pytest.param({"drained_l": 181.0}, {"floods"}, id="flood"),
        pytest.param({"called": False}, {"beds without an alarm after an hour"}, id="not-called"),
    ],
)
def test_a_blind_fortnight_is_judged(bed: dict[str, Any], failing: set[str]) -> None:
    found = blind_trials.verdicts([trial(**bed)])
    assert {one.words for one in found if not one.holds} == failing


def test_a_fortnight_too_wet_for_a_ratio_is_not_divided_by() -> None:
    wet = trial(hindsight_l=-20.0, ours_l=400.0)
    found = {one.words: one for one in blind_trials.verdicts([trial(), wet])}
    assert found["water to `hindsight`, median"].value == pytest.approx(1.0)


def test_the_blind_frontier_is_summed_up_told_and_drawn() -> None:
    wet = trial(hindsight_l=-20.0, drained_l=181.0)
    found = [trial(ours_l=480.0, sighted_l=330.0), wet, trial(ours_l=360.0, sighted_l=330.0)]
    places = [
        blind_frontier.place_of("known", 0.5, found),
        blind_frontier.place_of("unknown", 0.75, found[:1]),
    ]
    assert [one.bed_fortnights for one in places] == [2, 1]
    table = blind_frontier.as_markdown(places).splitlines()
    assert table[2] == "| known | lean 0.5 | 1.40 | 1.10 | 1 of 2 | 1 | 0 | 0.950 |"
    assert table[3] == "| unknown | counted 0.75 | 1.60 | 1.10 | 1 of 1 | 0 | 0 | 0.950 |"
    picture = blind_frontier.drawn(places)
    assert "sky known, lean swept" in picture
    assert "0.75, floods 0" in picture


def test_what_is_the_blindnesss_is_told_beside_what_is_ours() -> None:
    found = blind_trials.verdicts([trial(ours_l=480.0, sighted_l=400.0, sighted_drained_l=181.0)])
    told = {one.words: one.value for one in found if not one.asked}
    assert told == {
        "the same garden with its probes, to `hindsight`, median": pytest.approx(400.0 / 300.0),
        "blind to the same with its probes, median": pytest.approx(1.2),
        "floods with its probes": 1.0,
    }


# -- the frontier


def point(who: str, relative_yield: float, to_base_frac: float) -> Point:
    return Point(
        who=who,
        lean="0.5",
        bed_seasons=4,
        to_same_frac=to_base_frac,
        to_base_frac=to_base_frac,
        past_floor_d=0.0,
        any_past_frac=0.0,
        relative_yield_frac=relative_yield,
        waterings=20,
    )


FOUND = [
    point(OURS, 0.95, 1.3),
    point("hindsight", 0.8, 1.0),
    point("hindsight-0.10", 0.9, 1.1),
    point("hindsight-0.20", 1.0, 1.3),
]


@pytest.mark.parametrize(
    ("relative_yield", "least"), [(0.85, 1.05), (0.95, 1.2), (0.8, 1.0), (0.79, None)]
)
def test_the_least_water_for_a_yield_lies_between_what_hindsight_took(
    relative_yield: float, least: float | None
) -> None:
    found = at_yield(FOUND, relative_yield)
    assert found == (None if least is None else pytest.approx(least))


def test_the_frontier_is_told_and_drawn() -> None:
    table = frontier.as_markdown({"sure": FOUND})
    assert "| sure | `thirstline` | 0.5 | 4 | 1.300 | 1.300 | 1.200 |" in table
    drawn = frontier.pictures({"sure": FOUND, "drawn": FOUND})
    assert set(drawn) == {"frontier_floor.svg", "frontier_yield.svg"}
    for text in drawn.values():
        assert text.count("<circle") == 2 * len(FOUND)
        assert "nan" not in text
    assert frontier.pictures({"sure": []}) == {}


def test_points_are_of_bed_seasons_that_all_were_lived_in() -> None:
    bed = BedRow(
        litres=100.0,
        waterings=10,
        drained_l=1.0,
        dawns_past_floor=2,
        dawns_far_past_floor=0,
        worst_past_floor_frac=0.0,
        summer_days_between_d=None,
        sudden_rewettings=0,
        relative_yield_frac=0.98,
        max_depletion_frac=0.5,
        last_dawn_depletion_frac=0.3,
    )

    class Run:
        def __init__(self, setting: str, policy: str, litres: float, seed: int = 1) -> None:
            self.setting, self.policy, self.season, self.seed = setting, policy, "s", seed
            self.beds = (("south", replace(bed, litres=litres)),)

    rows: Any = [
        Run("lean=0", OURS, 120.0),
        Run("lean=0", "hindsight", 100.0),
        Run("lean=0.5", OURS, 130.0),
        Run("lean=0.5", "hindsight", 80.0),
        Run("lean=0.5", OURS, 999.0, seed=2),
    ]
    told = {(one.who, one.lean): one for one in frontier.points(rows, ["0", "0.5"])}
    assert told[OURS, "0"].to_same_frac == pytest.approx(1.2)
    assert told[OURS, "0"].to_base_frac == pytest.approx(1.5)
    assert told[OURS, "0.5"].bed_seasons == 1
    assert told[OURS, "0.5"].past_floor_d == 2.0


def test_hindsight_can_be_kept_off_its_floor_and_then_yields_more(garden: Garden) -> None:

    replay = prepare(
        garden, "invented-dry", first=date(2025, 7, 1), last=date(2025, 7, 12), sure=True
    )
    near, off = (run_policy(replay, name) for name in ("hindsight", "hindsight-0.15"))
    assert off.name == "hindsight-0.15"
    least = [dawn.floor_frac - dawn.depletion_frac for d in off.dawns.values() for dawn in d]
    assert min(least) >= KEPT_OFF_FRAC["hindsight-0.15"]
    assert off.numbers["relative_yield"] > near.numbers["relative_yield"]
    assert off.numbers["litres"] > near.numbers["litres"]


# -- the eye


def test_the_onset_is_where_the_worlds_plants_first_roll(garden: Garden) -> None:
    replay = prepare(garden, "invented-dry", sure=True)
    onset = {}
    for begin in (0.3, 0.7):
        world = GardenWorld(
            replay.garden,
            replay.season,
            replay.span.from_utc_s + 86_400.0,
            depletion_frac=dict.fromkeys(garden.beds, begin),
        )
        world.advance(replay.span.from_utc_s + 1.5 * 86_400.0)
        truth = world.truth.beds["south"]
        onset[begin] = eye_trials.onset_frac(truth)
        assert (Plant.posture(truth.open_frac) == 0) is (truth.depletion_frac < onset[begin])
    assert onset[0.3] == pytest.approx(onset[0.7])


def test_the_error_of_a_line_is_counted_with_looks_and_without() -> None:
    bed = {"shift_frac": 0.06, "beyond_frac": [-0.04, -0.10]}
    silent = {"shift_frac": 0.06, "beyond_frac": [None, -0.10]}
    found = [{"kind": "later", "beds": {"south": bed, "wall": silent}}]
    assert eye_trials.errors(found, learned=False) == pytest.approx([0.10])
    assert eye_trials.errors(found, learned=True) == pytest.approx([0.04])
    judged = eye_trials.verdicts(found)
    assert all(one.holds for one in judged)
    assert "| with over without | at most 0.5 | 0.4 |" in as_markdown(judged)


@pytest.mark.slow  # about 12 s
def test_a_blind_fortnight_calls_floods_nothing_and_costs_no_yield(garden: Garden) -> None:
    found = blind_trials.lived(garden, True, 1.0, ("invented-dry", 1, ("known",)))
    assert json.dumps(found)
    judged = {one.words: one for one in blind_trials.verdicts(found)}
    for words in (
        "floods",
        "beds without an alarm after an hour",
        "relative yield of the season, lowest",
    ):
        assert judged[words].holds, judged[words]


@pytest.mark.slow  # about 20 s
def test_a_garden_in_the_dark_takes_less_where_its_books_leave_room_for_rain(
    garden: Garden,
) -> None:
    def water_l(share: float) -> float:
        (found,) = blind_trials.lived(garden, True, share, ("invented-dry", 1, ("unknown",)))
        assert found["relative_yield"] >= 0.85
        return sum(float(bed["ours_l"]) for bed in found["beds"].values())

    before = unseen_rain.COUNTED_FRAC
    spared_l, whole_l = water_l(0.75), water_l(1.0)
    assert 0.6 * whole_l < spared_l < 0.95 * whole_l
    assert before == unseen_rain.COUNTED_FRAC  # put back


@pytest.mark.slow  # about 5 s
def test_one_summer_of_looks_at_random_stays_within_its_bounds(garden: Garden) -> None:
    found = [eye_trials.lived(garden, "on-end", ("invented-dry", 1, "random"))]
    assert json.dumps(found)
    judged = {one.words: one for one in eye_trials.verdicts(found)}
    assert judged["furthest that a line moved"].holds
    assert judged["furthest past the floor"].holds
