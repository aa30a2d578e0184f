"""The demo's past: its season book and its soil strips tell of the same water."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from api.cli import main
from api.demo import DEMO_GARDEN, prefill
from api.garden_meant import garden_of
from api.options import DEMO_SEASON
from controller.clock import Anchor, ScaledClock
from controller.datafolder import DataFolder
from controller.past import Past
from controller.store import open_reader
from sim.trial import Trial, lived


@pytest.fixture(scope="module")
def trial() -> Trial:
    return lived(garden_of(DEMO_GARDEN)[0], DEMO_SEASON)


@pytest.fixture
def past(trial: Trial, tmp_path: Path) -> Past:
    """The demo's record at its first second."""
    folder = DataFolder(tmp_path / "data")
    clock = ScaledClock(240.0, Anchor(sim_utc_s=trial.at_utc_s, real_utc_s=0.0))
    prefill(folder, clock, trial)
    return Past(trial.garden, folder, clock)


def test_the_book_counts_the_days_that_the_strips_show(past: Past, trial: Trial) -> None:
    book = past.season(to_utc_s=trial.at_utc_s)
    for name, bed in book["beds"].items():
        drawn_l = sum(
            row["given_l"]
            for row in past.history(name, trial.at_utc_s - 30 * 86_400.0, trial.at_utc_s)
        )
        assert bed["litres"] == pytest.approx(drawn_l, abs=0.5), name
    assert sum(bed["waterings"] for bed in book["beds"].values()) >= 4


def test_nothing_of_the_past_runs_on_and_its_epoch_is_kept(past: Past) -> None:
    with open_reader(past.folder) as reader:
        open_still = reader._query("SELECT count(*) AS n FROM ledger WHERE outcome IS NULL", ())
        epoch, _ = reader.high_mark()
    assert open_still[0]["n"] == 0
    assert epoch == 1


def test_a_record_that_ends_before_the_planting_is_told_as_that(past: Past) -> None:
    said = CliRunner().invoke(main, ["season", DEMO_GARDEN, "--data", str(past.folder.path)])
    assert said.exit_code == 0, said.output
    words = " ".join(said.output.split())
    assert "before this season began on 9 May 2026: it holds nothing of it." in words
    assert "watered" not in words
