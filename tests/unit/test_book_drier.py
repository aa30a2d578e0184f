"""What a drier line would have cost: the reckoning by hand, against mass, and what it says."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.desk_book import fake_book
from api.page.book_words import drier_note, sentences
from api.page.words import Tongue
from controller.book.drier import LEAST_DAWNS, SHIFT_FRAC, Drier, drier_line, together
from controller.book.plain import book_json
from controller.book.season import book_of
from controller.garden import Garden
from controller.store_book import BedHour, SeasonRows, WateringRow
from tests.engine_garden import small_garden

FIRST_S = int(datetime(2026, 7, 1, 12, tzinfo=UTC).timestamp())  # 5:00 at the plot: about sunrise
LINE, LEFT, LITRES_A_FRAC = 0.40, 0.05, 160.0
GARDEN = small_garden()
BED = GARDEN.beds["south"]


def lived(
    days: int, use_frac_d: float, line: float = LINE, begins: float = 0.10
) -> tuple[list[BedHour], list[BedHour], list[WateringRow]]:
    """Hours of a bed that dries evenly and is refilled at dawn once it is at its line."""
    hours, dawns, waterings, used = [], [], [], begins
    for index in range(24 * days):
        at_s, given_l = FIRST_S + 3600 * index, 0.0
        used += use_frac_d / 24.0
        rises = index % 24 == 0
        if rises and index and used >= line:
            given_l = LITRES_A_FRAC * (used - LEFT)
            waterings.append(
                WateringRow(
                    watering=f"w{index}",
                    bed="south",
                    by_whom="policy",
                    from_utc_s=float(at_s),
                    pulses=1,
                    credited_l=given_l,
                    charged_l=given_l,
                )
            )
            used = LEFT
        hour = BedHour(
            bed="south",
            hour_utc_s=at_s,
            depletion_frac=used,
            line_frac=line,
            rain_mm=0.0,
            given_l=given_l,
        )
        hours.append(hour)
        dawns += [hour] if rises else []
    return hours, dawns, waterings


def reckoned(days: int, use_frac_d: float, **more: Any) -> Drier:
    found = drier_line(BED, *lived(days, use_frac_d, **more))
    assert found is not None
    return found


def test_a_season_by_hand() -> None:
    """0.03 of its water a day: from 0.05 past 0.40 in 12 dawns, past 0.45 in 14 (by hand)."""
    found = reckoned(127, 0.03)
    assert found.waterings == found.as_it_was.waterings == 10
    assert found.as_it_was.litres == pytest.approx(found.litres, rel=0.02)
    assert found.drier.waterings == 9
    assert (found.as_it_was.past_floor, found.drier.past_floor) == (0, 0)


def test_a_thirsty_bed_is_kept_from_its_floor_by_the_day_ahead() -> None:
    """0.09 a day: 1.3 days' use before the floor of 0.50 comes sooner than either line."""
    found = reckoned(60, 0.09)
    assert found.drier.past_floor == 0
    assert found.drier.waterings >= found.as_it_was.waterings - 2


@pytest.mark.parametrize(("jump", "past"), [(0.0, 0), (0.05, 0), (0.12, 1)])
def test_a_jump_that_nobody_foresaw_is_a_day_past_the_floor(jump: float, past: int) -> None:
    """An hour before the first watering found 0.40 used, it was so much more: 0.50 is the floor."""
    hours, dawns, waterings = lived(60, 0.03)
    by_dawn = {dawn.hour_utc_s for dawn in dawns}
    first = int(waterings[0].from_utc_s)
    late = [
        replace(one, depletion_frac=one.depletion_frac + jump)
        if first - 3600 <= one.hour_utc_s < first
        else one
        for one in hours
    ]
    found = drier_line(BED, late, [one for one in late if one.hour_utc_s in by_dawn], waterings)
    assert found is not None
    assert (found.as_it_was.past_floor, found.drier.past_floor) == (past, past)


def test_the_miss_of_several_beds_is_no_less_than_their_scatter() -> None:
    one = reckoned(60, 0.03)
    over = replace(one, miss_l=30.0, as_it_was=replace(one.as_it_was, litres=one.litres + 30.0))
    under = replace(one, miss_l=40.0, as_it_was=replace(one.as_it_was, litres=one.litres - 40.0))
    both = together([over, under])
    assert both is not None
    assert both.miss_l == pytest.approx(50.0), "although their sum misses by 10 L"
    assert both.beds == 2
    twice = together([over, over])
    assert twice is not None
    assert twice.miss_l == pytest.approx(60.0)


@settings(derandomize=True, max_examples=40, deadline=None)
@given(
    days=st.integers(40, 120),
    use=st.floats(0.01, 0.12),
    begins=st.floats(0.05, 0.35),
    line=st.sampled_from([0.25, 0.40, 0.42, 0.45, 0.50]),
)
def test_water_given_is_water_used_less_what_the_bed_lacks_more(
    days: int, use: float, begins: float, line: float
) -> None:
    hours, dawns, waterings = lived(days, use, line=line, begins=begins)
    found = drier_line(BED, hours, dawns, waterings)
    if found is None:
        assert len(waterings) < 2
        return
    for run in (found.as_it_was, found.drier):
        stored_l = LITRES_A_FRAC * (LINE + SHIFT_FRAC + use + 0.2)
        used_l = LITRES_A_FRAC * use * days
        assert used_l - stored_l - LITRES_A_FRAC * 0.02 * run.waterings <= run.litres
        assert run.litres <= used_l + stored_l
    assert found.drier.waterings <= found.as_it_was.waterings
    assert found.drier.past_floor >= found.as_it_was.past_floor


def test_water_by_hand_comes_as_it_came_and_is_not_counted() -> None:
    hours, dawns, waterings = lived(60, 0.03)
    by_hand = [replace(waterings[1], by_whom="hand:operator"), *waterings[2:]]
    found = drier_line(BED, hours, dawns, [waterings[0], *by_hand])
    assert found is not None
    assert found.waterings == len(waterings) - 1
    assert found.as_it_was.waterings == found.waterings


@pytest.mark.parametrize("days", [0, 5, LEAST_DAWNS - 1])
def test_too_short_a_record_is_not_reckoned(days: int) -> None:
    assert drier_line(BED, *lived(days, 0.09)) is None
    assert together([]) is None


def test_a_gap_in_the_record_and_a_watering_outside_of_it_do_no_harm() -> None:
    hours, dawns, waterings = lived(60, 0.03)
    kept = hours[:400] + hours[500:]
    astray = replace(waterings[0], from_utc_s=0.0)
    found = drier_line(BED, kept, [dawn for dawn in dawns if dawn in kept], [astray, *waterings])
    assert found is not None
    assert found.as_it_was.waterings > 0


# -- in the book and in words


def rows_of(garden: Garden) -> SeasonRows:
    hours, _, waterings = lived(60, 0.04)
    del garden
    return SeasonRows(
        from_utc_s=float(FIRST_S),
        to_utc_s=float(FIRST_S + 90 * 86_400),
        waterings=tuple(waterings),
        hours=tuple(hours),
        picks=(),
        told=(),
    )


def test_the_book_holds_it_beside_the_ledger() -> None:
    told = book_json(book_of(GARDEN, rows_of(GARDEN)))
    found = told["drier"]
    assert found["given_litres"] == pytest.approx(told["beds"]["south"]["litres"], abs=0.06)
    assert found["given_waterings"] == told["beds"]["south"]["waterings"]
    assert found["reckoned_beds"] == 1
    assert found["waterings"] < found["same_waterings"]


def said(**change: Any) -> str:
    book = fake_book(("south", "north"))
    book["drier"] = {**book["drier"], **change}
    tongue = Tongue(zone=ZoneInfo("UTC"), us=False, now_utc_s=float(FIRST_S))
    return sentences(book, tongue)[2]


def test_the_third_sentence_says_it_with_its_own_miss() -> None:
    assert said() == (
        "Had each thirst line been 5 points drier, the garden would have taken 370 L less, in "
        "3 fewer waterings, with 2 more days past a floor. That is reckoned, and may be "
        "out by 45 L: see the small print."
    )
    tongue = Tongue(zone=ZoneInfo("UTC"), us=False, now_utc_s=float(FIRST_S))
    note = drier_note(fake_book(("south", "north")), tongue)
    assert "comes to 5380 L, and the valves gave 5400 L" in note
    assert note.endswith("added up, by 45 L.")


def test_a_difference_within_the_miss_is_called_none() -> None:
    assert "taken as much water, as far as can be told (40 L less)" in said(litres=5340.0)


def test_other_differences_are_said_as_they_are() -> None:
    more = said(litres=5500.0, waterings=20, days_past_floor=1, reckoned_beds=1)
    assert "120 L more, in as many waterings, with no more days past a floor" in more
    assert "reckoned for all but 1 bed of too short a record, and may be out by" in more
    same = said(litres=5380.4, waterings=19, days_past_floor=0)
    assert "as much water, as far as can be told, in 1 fewer watering, with 1 fewer day" in same


def test_without_a_reckoning_nothing_is_said() -> None:
    book = {**fake_book(("south",)), "drier": None}
    tongue = Tongue(zone=ZoneInfo("UTC"), us=False, now_utc_s=float(FIRST_S))
    assert not any("thirst line been" in one for one in sentences(book, tongue))
