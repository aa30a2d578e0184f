"""The season book as it crosses every border: a JSON document."""

from __future__ import annotations

from typing import Any

from controller.book.drier import SHIFT_FRAC, Drier
from controller.book.season import BedSeason, Book, Fruit, Swing
from controller.view import rfc3339


def book_json(book: Book) -> dict[str, Any]:
    """The whole book.

    Args:
        book: as it was added up.

    Returns:
        first, last, record_begins | null, record_ends | null (local days; the first that the record
        holds of this season, the last that the whole record holds, which may lie before it),
        beds {id: {plants, litres, most_litres, waterings, tested_l, by_hand_l,
        median_days_between | null, poured_l, rain_mm, dawns, dawns_past_line, driest_frac | null,
        swing {back_frac, on} | null, swings [{back_frac, on}],
        looks, litres_per_kg | null, notes [{on, text}], fruit,
        picks [{on, variety, kg, cracked, black_ended, swing}]}}, waterings [{bed, from, pulses,
        litres, most_litres, by, clock_synced}], varieties [{variety, fruit}] by
        weight; fruit is {picks, kg, cracked, black_ended}; drier {shift_frac, reckoned_beds,
        litres, waterings, days_past_floor, same_litres, same_waterings, same_days_past_floor,
        given_litres, given_waterings, miss_litres} | null.
    """
    return {
        "first": book.first.isoformat(),
        "last": book.last.isoformat(),
        "record_begins": None if book.record_begins is None else book.record_begins.isoformat(),
        "record_ends": None if book.record_ends is None else book.record_ends.isoformat(),
        "beds": {bed.bed: _bed(bed) for bed in book.beds},
        "waterings": [
            {
                "bed": one.bed,
                "from": rfc3339(one.from_utc_s),
                "pulses": one.pulses,
                "litres": one.credited_l,
                "most_litres": one.charged_l,
                "by": one.by_whom,
                "clock_synced": one.clock_synced,
            }
            for one in book.waterings
        ],
        "varieties": [{"variety": name, "fruit": _fruit(got)} for name, got in book.varieties],
        "drier": None if book.drier is None else _drier(book.drier),
    }


def _drier(found: Drier) -> dict[str, Any]:
    same, drier = found.as_it_was, found.drier
    return {
        "shift_frac": SHIFT_FRAC,
        "reckoned_beds": found.beds,
        "litres": round(drier.litres, 1),
        "waterings": drier.waterings,
        "days_past_floor": drier.past_floor,
        "same_litres": round(same.litres, 1),
        "same_waterings": same.waterings,
        "same_days_past_floor": same.past_floor,
        "given_litres": round(found.litres, 1),
        "given_waterings": found.waterings,
        "miss_litres": round(found.miss_l, 1),
    }


def _bed(bed: BedSeason) -> dict[str, Any]:
    return {
        "plants": bed.plants,
        "litres": bed.litres,
        "most_litres": bed.most_l,
        "waterings": bed.waterings,
        "tested_l": bed.tested_l,
        "by_hand_l": bed.by_hand_l,
        "median_days_between": bed.apart_d,
        "poured_l": bed.poured_l,
        "rain_mm": bed.rain_mm,
        "dawns": bed.dawns,
        "dawns_past_line": bed.dawns_past_line,
        "driest_frac": bed.driest_frac,
        "swing": _swing(bed.swing),
        "swings": [_swing(one) for one in bed.swings],
        "looks": bed.looks,
        "litres_per_kg": bed.l_per_kg,
        "notes": [{"on": day.isoformat(), "text": text} for day, text in bed.notes],
        "fruit": _fruit(bed.fruit),
        "picks": [
            {
                "on": pick.on_day,
                "variety": pick.variety,
                "kg": pick.kg,
                "cracked": pick.cracked,
                "black_ended": pick.black_ended,
                "swing": _swing(swing),
            }
            for pick, swing in bed.picks
        ],
    }


def _swing(swing: Swing | None) -> dict[str, Any] | None:
    return None if swing is None else {"back_frac": swing.back_frac, "on": swing.on.isoformat()}


def _fruit(got: Fruit) -> dict[str, Any]:
    return {
        "picks": got.picks,
        "kg": got.kg,
        "cracked": got.cracked,
        "black_ended": got.black_ended,
    }
