"""What-ifs: bands of differences, an early band, and words that are refused."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from api.cli import main
from controller.garden import Garden
from sim.draws import Placing
from sim.season_run import prepare
from sim.winter.fitting import what_if
from sim.winter.fitting.bed_fit import BedFit
from sim.winter.fitting.fit_file import as_document, read, write
from sim.winter.fitting.observed import BedSeen, Observed
from sim.winter.fitting.posterior import drawn_from
from sim.winter.fitting.priors import quantities
from sim.winter.fitting.season_fit import BedResult
from sim.winter.fitting.what_if import MEASURES, Line, Pair, Play, bands, played
from tests.unit.hidden_bed import tables

PROBES = ("south-20", "south-40")
LAST = date(2015, 5, 19)


def pair(number: int, was: float, then: float) -> Pair:
    return Pair(
        number=number,
        was=dict.fromkeys(MEASURES, was),
        then=dict.fromkeys(MEASURES, then),
    )


@pytest.fixture(scope="module")
def fit_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fit file of ten days as a fit would leave it: the middle of the prior, half as wide."""
    replay = prepare(Garden.model_validate(tables("south")), "seattle-2015", last=LAST)
    many = len(quantities(PROBES))
    fit = BedFit(
        probes=PROBES,
        z=np.zeros(many),
        covariance=0.25 * np.eye(many),
        sd_m3_m3={},
        left_m3_m3={},
        alike={},
        runs=0,
        driven=None,  # type: ignore[arg-type]
    )
    observed = Observed(
        garden=replay.garden,
        season=replay.season,
        from_utc_s=replay.span.from_utc_s,
        to_utc_s=replay.span.to_utc_s,
        beds={"south": BedSeen(water=(), probes=())},
        source="made up",
    )
    result = BedResult(bed="south", fit=fit, places={"south-40": Placing()})
    path = tmp_path_factory.mktemp("fit") / "fit.json"
    write(path, as_document(observed, tables("south"), [result]))
    return path


def thirstline(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def test_a_band_is_of_differences_and_not_of_levels() -> None:
    """Levels that scatter by hundreds, a difference of exactly 5: its band has no width."""
    found = bands([pair(n, 100.0 * n, 100.0 * n - 5.0) for n in range(1, 11)])
    for one in found.values():
        assert (one.differs, one.low, one.high, one.draws) == (-5.0, -5.0, -5.0, 10)
    assert found["litres"].was == 550.0


def test_a_band_is_the_middle_80_per_cent() -> None:
    found = bands([pair(n, 0.0, float(n)) for n in range(11)])["waterings"]
    assert (found.low, found.differs, found.high) == (1.0, 5.0, 9.0)


def test_the_first_band_is_told_once_after_15_s(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(what_if, "play", lambda one: pair(one, 1.0, 2.0))
    times = iter([0.0, 4.0, 8.0, 14.9, 15.0, 20.0, 24.0])

    def clock() -> float:
        return next(times)

    told: list[int] = []
    found = played([1, 2, 3, 4, 5, 6], 1, lambda some: told.append(len(some)), clock)  # type: ignore[list-item]
    assert told == [4]
    assert [one.number for one in found] == [1, 2, 3, 4, 5, 6]


def test_the_same_line_twice_differs_by_nothing(fit_path: Path) -> None:
    """Common random numbers: one world, one line, no difference at all."""
    fitted = read(fit_path)
    assert fitted.last == LAST
    line = Line(garden=fitted.garden)
    one = Play(
        number=3,
        drawn=drawn_from(fitted, 3),
        season=fitted.season,
        last=fitted.last,
        was=line,
        then=line,
    )
    found = what_if.play(one)
    assert found.was == found.then
    assert found.was["litres"] > 0.0


def test_each_draw_has_a_weather_of_its_own_that_both_lines_share(
    fit_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lived: list[Play] = []

    def play(one: Play) -> Pair:
        lived.append(one)
        return pair(one.number, 1.0, 2.0)

    monkeypatch.setattr(what_if, "play", play)
    told = thirstline("what-if", fit_path, "--line", "0.05", "--draws", "3", "--jobs", "1")
    assert told.exit_code == 0, told.output
    weathers = {one.drawn.weather for one in lived}
    assert len(weathers) == 3
    assert None not in weathers


@pytest.mark.slow
def test_two_processes_tell_what_one_tells(fit_path: Path) -> None:
    words = ("what-if", fit_path, "--line", "0.05", "--draws", "3", "--json")
    one, two = (json.loads(thirstline(*words, "--jobs", jobs).stdout) for jobs in ("1", "2"))
    assert one == two
    assert set(one["bands_80"]) == set(MEASURES)
    assert one["question"] == "thirst lines +5 points"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        pytest.param((), "nothing is changed", id="no-question"),
        pytest.param(("--line", "0.9"), "outside -0.3 to 0.3", id="a-line-too-far"),
        pytest.param(("--line", "nan"), "outside -0.3 to 0.3", id="no-number"),
        pytest.param(("--lean", "7"), "beds.south.lean", id="lean-is-out-of-range"),
        pytest.param(("--set", "lean=0.1,0.2"), "one value for each key", id="two-values"),
        pytest.param(("--set", "leen=0.1"), "there is no 'leen'", id="an-unknown-key"),
    ],
)
def test_words_that_make_no_question_are_refused(
    fit_path: Path, words: tuple[str, ...], said: str
) -> None:
    found = thirstline("what-if", fit_path, *words)
    assert found.exit_code == 2
    assert said in " ".join(found.output.split())


def test_a_missing_fit_is_refused(tmp_path: Path) -> None:
    found = thirstline("what-if", tmp_path / "none.json", "--line", "0.05")
    assert found.exit_code == 1
    assert "cannot be read as a fit file" in found.output


def test_fit_takes_a_store_or_files(tmp_path: Path) -> None:
    found = thirstline("fit", "hollin-lane", "--csv", tmp_path, "--data", tmp_path)
    assert found.exit_code == 2
    assert "--csv and --data: only one of the two" in found.output


def test_fit_says_which_file_is_missing(tmp_path: Path) -> None:
    found = thirstline("fit", "hollin-lane", "--csv", tmp_path)
    assert found.exit_code == 1
    assert "weather.csv" in found.output
