"""The two paths of the pace command live the same world under the same readings."""

from __future__ import annotations

import json
from datetime import date

import pytest

from sim.pace import Lived, bare, edges_of, full, long_season, main
from sim.season_run import Replay

FIRST, DAYS = date(2025, 7, 12), 8  # in midsummer, when every bed is watered
# The full path hears of a pulse's litres when it is settled, some seconds after its end and in
# whole pulses of the meter; with six readings an hour that stays below a hundredth of the water
# that the roots can use.
NEAR_FRAC = 0.01
KEYS = {
    "season", "from", "to", "days", "beds", "probes", "repeats", "readings",
    "full", "bare", "ratio", "most",
}  # fmt: skip


@pytest.fixture(scope="module")
def season() -> Replay:
    """Some days of the season."""
    return long_season(DAYS, FIRST)


@pytest.fixture(scope="module")
def whole(season: Replay) -> Lived:
    """The full path."""
    return full(season)


@pytest.fixture(scope="module")
def plain(season: Replay, whole: Lived) -> Lived:
    """The bare path under the same water."""
    return bare(season, whole.flows)


def test_some_water_runs_in_the_days_that_are_compared(whole: Lived) -> None:
    assert {flow.bed for flow in whole.flows} == set(whole.world.garden.beds)


def test_both_paths_hear_every_reading_of_every_probe(whole: Lived, plain: Lived) -> None:
    assert whole.engine.state.readings == 8 * 144 * DAYS
    assert plain.engine.state.readings == 8 * 144 * DAYS


def test_both_paths_live_in_the_very_same_soil(whole: Lived, plain: Lived) -> None:
    for bed in whole.world.garden.beds:
        assert plain.world.truth.litres(bed) == whole.world.truth.litres(bed)
        assert plain.world.truth.depletion_frac(bed) == whole.world.truth.depletion_frac(bed)


def test_both_paths_believe_nearly_the_same_depletion(whole: Lived, plain: Lived) -> None:
    for bed, day in whole.engine.state.days.items():
        told_mm = whole.engine.state.water[bed].depletion_mm
        bare_mm = plain.engine.state.water[bed].depletion_mm
        assert abs(told_mm - bare_mm) < NEAR_FRAC * day.taw_mm


def test_water_ends_before_it_begins_again_at_the_same_instant(whole: Lived) -> None:
    edges = edges_of(whole.flows)
    assert [edge.at_utc_s for edge in edges] == sorted(edge.at_utc_s for edge in edges)
    running: set[str] = set()
    for edge in edges:
        assert edge.opens is (edge.bed not in running)
        running ^= {edge.bed}
    assert running == set()


def test_the_object_holds_the_documented_keys(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--days", "2", "--repeats", "1", "--json"])
    found = json.loads(capsys.readouterr().out)
    assert found.keys() == KEYS
    assert found["readings"] == 8 * 144 * 2
    assert (found["beds"], found["probes"], found["days"]) == (4, 8, 2)
    assert found["full"].keys() == found["bare"].keys() == {"cpu_s", "readings_per_s"}
    assert found["ratio"] > 0.0


@pytest.mark.parametrize(
    "words",
    [
        pytest.param(["--days", "1"], id="no season of a day"),
        pytest.param(["--days", "215"], id="no day after the last"),
        pytest.param(["--repeats", "0"], id="no best of none"),
    ],
)
def test_numbers_out_of_bounds_are_refused(words: list[str]) -> None:
    with pytest.raises(SystemExit):
        main(words)
