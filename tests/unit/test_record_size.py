"""The record stays within its bound: the journal gives way, the ledger and the hours never."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller import store as store_module
from controller.datafolder import DataFolder
from controller.store import open_reader
from sim.record_size import Plot, Size, season

BEDS = 2
PLOT = Plot(probes=2 * BEDS, every_s=600)
MOST_BYTES = 1_200_000


@pytest.fixture
def lived(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[DataFolder, list[Size]]:
    """Nine days of a small plot under a small bound: it takes a third of a MB a day."""
    monkeypatch.setattr(store_module, "MOST_BYTES", MOST_BYTES)
    folder = DataFolder(tmp_path)
    return folder, list(season(folder, PLOT, 9))


@pytest.mark.slow
@pytest.mark.hazard("S1")
def test_a_record_that_would_be_too_large_keeps_fewer_days_of_journal(
    lived: tuple[DataFolder, list[Size]],
) -> None:
    folder, sizes = lived
    a_day = sizes[1].file_bytes - sizes[0].file_bytes
    assert 5 * a_day > MOST_BYTES  # it would not have fitted
    assert max(one.file_bytes for one in sizes) <= MOST_BYTES + 1.5 * a_day
    assert 1.0 <= sizes[-1].journal_d < 8.0  # a whole day is always left
    with open_reader(folder) as reader:
        begun = list(reader.journal())
        first = min(row.n for row in begun)
        assert begun[0].n > 1
        # the journal begins where a snapshot opens it, without a gap
        assert [row.n for row in begun] == list(range(first, begun[-1].n + 1))
        oldest = reader._query("SELECT min(n) AS n FROM snapshots", ())[0]["n"]
        assert oldest <= first
        hours = sum(len(reader.history(f"bed-{bed}", 0.0, 2e9)) for bed in range(BEDS))
        assert hours == 9 * 24 * BEDS
        assert sum(many for _, many, _ in reader.given_since(0.0)) == 3 * BEDS


@pytest.mark.slow
def test_within_the_bound_nothing_goes_before_its_thirty_days(tmp_path: Path) -> None:
    sizes = list(season(DataFolder(tmp_path), Plot(probes=2, every_s=600), 4))
    assert sizes[-1].journal_d == pytest.approx(4.0, abs=0.01)
