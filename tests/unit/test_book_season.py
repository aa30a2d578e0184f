"""A season added up from the record's rows: sums, dry dawns, swings, chance."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.book.plain import book_json
from controller.book.season import BedSeason, book_of, chance_of_difference
from controller.garden import Garden, load_garden
from controller.store_book import BedHour, PickRow, SeasonRows, ToldRow, WateringRow
from sim.examples import find_garden

FIRST_S = datetime(2026, 7, 1, 7, tzinfo=UTC).timestamp()  # local midnight
HOUR_S = 3600


@pytest.fixture(scope="module")
def garden() -> Garden:
    return load_garden(find_garden("hollin-lane"))


def hours(depletions: list[float], line_frac: float = 0.4, rain_mm: float = 0.0) -> list[BedHour]:
    return [
        BedHour(
            bed="south",
            hour_utc_s=int(FIRST_S) + index * HOUR_S,
            depletion_frac=frac,
            line_frac=line_frac,
            rain_mm=rain_mm,
        )
        for index, frac in enumerate(depletions)
    ]


def rows(**parts: tuple[object, ...]) -> SeasonRows:
    empty: dict[str, tuple[object, ...]] = dict.fromkeys(
        ("waterings", "hours", "picks", "told"), ()
    )
    return SeasonRows(
        from_utc_s=FIRST_S,
        to_utc_s=FIRST_S + 30 * 86_400.0,
        **(empty | parts),  # type: ignore[arg-type]
    )


def south(garden: Garden, **parts: tuple[object, ...]) -> BedSeason:
    return book_of(garden, rows(**parts)).beds[0]


def watering(day: float, credited_l: float, by: str = "policy", bed: str = "south") -> WateringRow:
    return WateringRow(
        watering=f"w{day}",
        bed=bed,
        by_whom=by,
        from_utc_s=FIRST_S + day * 86_400.0,
        pulses=2,
        credited_l=credited_l,
        charged_l=1.1 * credited_l,
    )


def pick(on: str, kg: float, cracked: int = 0, black: int = 0, variety: str = "") -> PickRow:
    return PickRow(
        bed="south", on_day=on, variety=variety, kg=kg, cracked=cracked, black_ended=black
    )


def test_a_record_that_ends_before_the_season_says_so(garden: Garden) -> None:
    book = book_json(book_of(garden, replace(rows(), ends_utc_s=FIRST_S - 30 * 86_400.0)))
    assert (book["first"], book["record_ends"]) == ("2026-07-01", "2026-06-01")
    assert book_json(book_of(garden, rows()))["record_ends"] is None


def test_litres_waterings_and_days_apart(garden: Garden) -> None:
    given = (watering(0, 100.0), watering(3, 200.0, "hand:operator"), watering(8, 300.0))
    bed = south(garden, waterings=given)
    assert (bed.litres, bed.waterings, bed.by_hand_l) == (600.0, 3, 200.0)
    assert bed.tested_l == 0.0
    assert bed.most_l == pytest.approx(660.0)
    assert bed.apart_d == 4.0


def test_openings_that_try_a_valve_are_no_waterings(garden: Garden) -> None:
    tried = (watering(1, 14.0, "walk:operator"), watering(2, 6.0, "proof"))
    bed = south(garden, waterings=(watering(0, 100.0), *tried, watering(8, 300.0)))
    assert (bed.waterings, bed.apart_d) == (2, 8.0)
    assert (bed.litres, bed.tested_l) == (420.0, 20.0)


def test_the_book_says_since_when_the_record_holds_anything(garden: Garden) -> None:
    assert book_of(garden, rows()).record_begins is None
    book = book_json(book_of(garden, rows(waterings=(watering(9, 100.0),))))
    assert (book["first"], book["record_begins"]) == ("2026-07-01", "2026-07-10")


def test_poured_water_counts_until_it_is_taken_back(garden: Garden) -> None:
    told = tuple(
        ToldRow(at_utc_s=FIRST_S, bed="south", code=code, text="", numbers={"given_l": litres})
        for code, litres in (("poured", 40.0), ("poured", 30.0), ("not_poured", -30.0))
    )
    assert south(garden, told=told).poured_l == 40.0


def test_dawns_past_the_line_are_counted_at_sunrise(garden: Garden) -> None:
    one_day = [0.5 if 4 <= hour <= 6 else 0.3 for hour in range(24)]  # dry around sunrise only
    bed = south(garden, hours=tuple(hours(one_day + [0.3] * 24)))
    assert (bed.dawns, bed.dawns_past_line, bed.driest_frac) == (2, 1, 0.5)


def test_a_swing_is_what_came_back_within_a_day(garden: Garden) -> None:
    slow = [0.6 - 0.01 * hour for hour in range(50)]
    (bed,) = [south(garden, hours=tuple(hours(slow)))]
    assert bed.swing is not None
    assert bed.swing.back_frac == pytest.approx(0.24)
    sudden = [0.3] * 30 + [0.05] * 10
    found = south(garden, hours=tuple(hours(sudden))).swing
    assert found is not None
    assert (round(found.back_frac, 6), found.on) == (0.25, date(2026, 7, 2))


def test_fruit_by_bed_and_variety_and_litres_for_a_kilogram(garden: Garden) -> None:
    picked = (pick("2026-07-20", 4.0, 2, 1), pick("2026-07-25", 6.0, 1))
    book = book_of(garden, rows(waterings=(watering(1, 300.0),), picks=picked))
    assert book.beds[0].l_per_kg == 30.0
    assert book.beds[1].l_per_kg is None
    ((_, all_of_it),) = book.varieties
    assert (all_of_it.picks, all_of_it.kg, all_of_it.cracked, all_of_it.black_ended) == (
        2,
        10,
        3,
        1,
    )
    assert book.last == date(2026, 7, 25)


def test_a_bed_that_the_file_no_longer_names_is_left_out(garden: Garden) -> None:
    book = book_of(garden, rows(waterings=(watering(1, 300.0, bed="gone"),)))
    assert sum(bed.litres for bed in book.beds) == 0.0
    assert book_json(book)["waterings"] == []


def test_an_empty_record_is_an_empty_book(garden: Garden) -> None:
    book = book_json(book_of(garden, rows()))
    assert book["first"] == book["last"] == "2026-07-01"
    assert all(bed["litres"] == 0.0 and bed["swing"] is None for bed in book["beds"].values())


@pytest.mark.parametrize(
    ("counts", "chance"),
    [
        pytest.param((0, 5.0, 0, 5.0), 1.0, id="no-faults"),
        pytest.param((5, 10.0, 0, 10.0), 2 * 0.5**5, id="five-to-none"),
        pytest.param((1, 1.0, 1, 1.0), 1.0, id="alike"),
        pytest.param((3, 10.0, 0, 30.0), 0.25**3, id="a-quarter-of-the-weight"),
    ],
)
def test_chance_by_hand(counts: tuple[int, float, int, float], chance: float) -> None:
    assert chance_of_difference(*counts) == pytest.approx(chance)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2000), st.floats(0.1, 500.0), st.integers(0, 2000), st.floats(0.1, 500.0))
def test_chance_is_a_share_and_the_same_from_both_sides(
    many: int, kg: float, others: int, others_kg: float
) -> None:
    there = chance_of_difference(many, kg, others, others_kg)
    assert 0.0 <= there <= 1.0
    assert math.isclose(
        there, chance_of_difference(others, others_kg, many, kg), rel_tol=1e-6, abs_tol=1e-12
    )
