"""The bench of broken probes: what counts as found and as asked, and calm where all is sound."""

from __future__ import annotations

import json

import pytest

from controller.garden import Garden, load_garden
from sim.examples import find_garden
from sim.probe_bench import hazard_of, in_time, main, measured, seasons_summary, summary
from sim.probe_lives import STATED, Found, Sound, lived
from sim.probe_series import Hazard


@pytest.fixture(scope="module")
def garden() -> Garden:
    return load_garden(find_garden("hollin-lane"))


def test_found_late_or_never_is_not_as_asked() -> None:
    within_h = STATED[Hazard.DRIFT].within_h
    early, late = Found(seed=1, delay_h=within_h, doses=4), Found(seed=2, delay_h=within_h + 1.0)
    assert in_time(Hazard.DRIFT, early)
    assert not in_time(Hazard.DRIFT, late)
    assert not in_time(Hazard.DRIFT, Found(seed=3))
    row = summary(Hazard.DRIFT, [early, late, Found(seed=3)])
    assert (row["worlds"], row["found"], row["in_time"]) == (3, 2, 1)
    assert row["late_seeds"] == [2, 3]


def test_more_doses_than_asked_are_counted() -> None:
    some = [Found(seed=n, delay_h=9.0, by="frozen", doses=n) for n in range(4)]
    row = summary(Hazard.FROZEN, some)
    assert (row["doses_most"], row["doses_over"], row["in_time"]) == (3, 1, 3)
    assert row["stated_h"] is None
    assert row["found_by"] == {"frozen": 4}


def test_alarms_are_told_for_each_bed_and_season() -> None:
    some = [Sound(beds=4, alarms={"a": 3}, flags={"drift": 3}), Sound(beds=4)]
    row = seasons_summary(some)
    assert row["per_bed_season"] == pytest.approx(0.38)
    assert row["most_in_one_bed"] == 3


def test_a_hazard_is_named_in_small_letters() -> None:
    assert hazard_of("swapped_beds") is Hazard.SWAPPED_BEDS
    with pytest.raises(SystemExit):
        main(["--hazard", "rust"])


def test_an_open_circuit_is_found_in_one_sample_and_no_dose_rests_on_it(garden: Garden) -> None:
    found = lived(garden, (Hazard.OPEN, 3))
    assert found.delay_h == pytest.approx(1.0 / 6.0)
    assert found.doses == 0


def test_what_is_not_broken_is_not_found(garden: Garden, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sim.probe_series.OPEN_M3_M3", 0.25)
    monkeypatch.setattr("sim.probe_series.BENDS", {Hazard.OPEN: lambda _bender, one, _told: [one]})
    assert lived(garden, (Hazard.OPEN, 3)).delay_h is None


@pytest.mark.slow
def test_hazards_are_found_in_a_few_worlds(
    garden: Garden, capsys: pytest.CaptureFixture[str]
) -> None:
    found = measured(garden, range(1, 3), seasons=False, jobs=2)
    assert [one["hazard"] for one in found["hazards"]] == [str(one) for one in Hazard]
    for one in found["hazards"]:
        assert one["found"] == one["worlds"] == 2, one
    sharp = (Hazard.OPEN, Hazard.SHORT, Hazard.RANGE, Hazard.UNIT, Hazard.FUTURE, Hazard.STALE)
    for one in found["hazards"]:
        if one["hazard"] in {str(each) for each in sharp}:
            assert one["in_time"] == 2, one
            assert one["doses_most"] == 0, one
    main(["--seeds", "1", "--hazard", "open", "--no-seasons", "--json"])
    told = json.loads(capsys.readouterr().out)
    assert told["hazards"][0]["found"] == 1


@pytest.mark.slow
def test_a_bed_without_a_fault_is_asked_about_once_a_season_at_most(garden: Garden) -> None:
    found = measured(garden, range(1, 7), hazards=(), jobs=2)  # 24 beds' seasons: it is a mean
    assert found["seasons"]["bed_seasons"] == 24
    assert found["seasons"]["per_bed_season"] <= 1.0
