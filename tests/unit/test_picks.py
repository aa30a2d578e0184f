"""Planned picks: read from a file, refused where they are no picks, moved to the season's year."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from controller.errors import UsageError
from controller.garden import Garden, load_garden
from sim.examples import find_garden
from sim.picks import read_picks
from sim.season_run import prepare


@pytest.fixture(scope="module")
def garden() -> Garden:
    return load_garden(find_garden("hollin-lane"))


def written(folder: Path, text: str) -> Path:
    path = folder / "picks.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_each_bed_gets_its_days_in_order(garden: Garden, tmp_path: Path) -> None:
    path = written(tmp_path, "on,bed\n2026-08-20,south\n2026-08-01,south\n2026-08-03,low\n")
    assert read_picks(path, garden) == {
        "south": (date(2026, 8, 1), date(2026, 8, 20)),
        "low": (date(2026, 8, 3),),
    }


@pytest.mark.parametrize("bed", ["", "*", "  "], ids=["empty", "star", "blanks"])
def test_no_bed_means_every_bed(garden: Garden, tmp_path: Path, bed: str) -> None:
    picks = read_picks(written(tmp_path, f"on,bed\n2026-08-01,{bed}\n"), garden)
    assert dict(picks) == dict.fromkeys(("south", "wall", "low", "hedge"), (date(2026, 8, 1),))


@pytest.mark.parametrize(
    "text",
    [
        "bed,on\nsouth,2026-08-01\n",
        "# our plan\n\non,bed\n\n# the first\n2026-08-01,south\n",
        "\ufeffOn, Bed\r\n2026-08-01 , south\r\n",
    ],
    ids=["columns-swapped", "notes-and-empty-lines", "from-a-spreadsheet"],
)
def test_harmless_differences_are_taken(garden: Garden, tmp_path: Path, text: str) -> None:
    assert read_picks(written(tmp_path, text), garden) == {"south": (date(2026, 8, 1),)}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "row 1: the header is ''; on,bed is allowed"),
        ("on;bed\n2026-08-01;south\n", "row 1: the header is 'on;bed'; on,bed is allowed"),
        ("2026-08-01,south\n", "row 1: the header is '2026-08-01,south'"),
        ("on,bed\n", "row 1: no pick follows the header"),
        ("on,bed\n01.08.2026,south\n", "row 2: on is '01.08.2026'; a day such as 2026-08-01"),
        ("on,bed\nsouth,2026-08-01\n", "row 2: on is 'south'"),
        ("on,bed\n2026-02-30,south\n", "row 2: on is '2026-02-30'"),
        ("on,bed\n2026-08-01,sout\n", "bed is 'sout' (south meant?); south, wall, low, hedge"),
        ("on,bed\n2026-08-01\n", "row 2: has 1 cells; 2 are allowed"),
        ("on,bed\n2026-08-01,south,12 kg\n", "row 2: has 3 cells; 2 are allowed"),
        ("on,bed\n2026-08-01,low\n2025-08-01,low\n", "row 3: the pick of low on 08-01 stands"),
        ("on,bed\n2026-08-01,*\n# again\n2026-08-01,low\n", "stands already in row 2"),
    ],
    ids=[
        "empty-file",
        "semicolons",
        "no-header",
        "no-row",
        "foreign-date",
        "cells-swapped",
        "no-such-day",
        "no-such-bed",
        "cell-missing",
        "cell-too-many",
        "twice-in-two-years",
        "twice-by-star",
    ],
)
def test_a_wrong_file_is_refused_with_its_row(
    garden: Garden, tmp_path: Path, text: str, said: str
) -> None:
    path = written(tmp_path, text)
    with pytest.raises(UsageError) as refused:
        read_picks(path, garden)
    assert said in str(refused.value)
    assert str(path) in str(refused.value)


def test_a_file_that_is_not_there_is_said(garden: Garden, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"none\.csv: cannot be read: No such file"):
        read_picks(tmp_path / "none.csv", garden)


def test_a_folder_is_no_file_of_picks(garden: Garden, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be read"):
        read_picks(tmp_path, garden)


def test_bytes_that_are_no_text_are_refused(garden: Garden, tmp_path: Path) -> None:
    path = tmp_path / "picks.csv"
    path.write_bytes(b"on,bed\n\xff\n")
    with pytest.raises(UsageError, match="byte 8 is no UTF-8"):
        read_picks(path, garden)


def test_a_huge_file_is_not_read(garden: Garden, tmp_path: Path) -> None:
    path = tmp_path / "picks.csv"
    path.write_bytes(b"on,bed\n" + b"#" * 1_000_000)
    with pytest.raises(UsageError, match="longer than 1000000 bytes"):
        read_picks(path, garden)


def test_picks_move_to_the_year_of_the_season(garden: Garden) -> None:
    picks = {"south": (date(2026, 8, 1), date(2028, 2, 29))}
    replay = prepare(garden, "invented-dry", sure=True, picks=picks)
    year = replay.season.daily[0].date.year
    assert replay.picks["south"] == (date(year, 2, 28), date(year, 8, 1))
