"""The season book of the invented garden that `api/desk.py` plays; its numbers are made up."""

from __future__ import annotations

from typing import Any

FIRST, LAST = "2026-05-09", "2026-07-15"


def fake_book(beds: tuple[str, ...]) -> dict[str, Any]:
    """A book of these beds: two picks in the first one, none in the others.

    Args:
        beds: their ids.
    """
    picks = [
        _pick("2026-07-03", "Early", 4.0, 1, 0, 0.22),
        _pick("2026-07-12", "Late", 6.0, 6, 1, 0.45),
    ]
    return {
        "first": FIRST,
        "last": LAST,
        "record_begins": FIRST,
        "record_ends": LAST,
        "beds": {bed: _bed(index, picks if index == 0 else []) for index, bed in enumerate(beds)},
        "waterings": [
            {
                "bed": bed,
                "from": "2026-07-08T05:00:00Z",
                "pulses": 3,
                "litres": 300.0,
                "most_litres": 340.0,
                "by": "policy",
                "clock_synced": True,
            }
            for bed in beds
        ],
        "varieties": [
            {"variety": pick["variety"], "fruit": _fruit([pick])} for pick in reversed(picks)
        ],
        "drier": {
            "shift_frac": 0.05,
            "reckoned_beds": len(beds),
            "litres": 5010.0,
            "waterings": 17,
            "days_past_floor": 3,
            "same_litres": 5380.0,
            "same_waterings": 20,
            "same_days_past_floor": 1,
            "given_litres": 5400.0,
            "given_waterings": 20,
            "miss_litres": 45.0,
        },
    }


def _pick(
    on: str, variety: str, kg: float, cracked: int, black_ended: int, swing_frac: float
) -> dict[str, Any]:
    return {
        "on": on,
        "variety": variety,
        "kg": kg,
        "cracked": cracked,
        "black_ended": black_ended,
        "swing": {"back_frac": swing_frac, "on": on},
    }


def _fruit(picks: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "picks": len(picks),
        **{key: sum(one[key] for one in picks) for key in ("kg", "cracked", "black_ended")},
    }


def _bed(index: int, picks: list[dict[str, Any]]) -> dict[str, Any]:
    litres, got = 1500.0 - 100.0 * index, _fruit(picks)
    swings = [{"back_frac": 0.45, "on": "2026-07-08"}, {"back_frac": 0.22, "on": "2026-06-30"}]
    return {
        "plants": 24,
        "litres": litres,
        "most_litres": litres * 1.08,
        "waterings": 5,
        "tested_l": 0.0,
        "by_hand_l": 0.0,
        "median_days_between": 4.5,
        "poured_l": 0.0,
        "rain_mm": 61.0,
        "dawns": 60,
        "dawns_past_line": 2 if index == 0 else 0,
        "driest_frac": 0.43,
        "swing": swings[0],
        "swings": swings,
        "looks": 0,
        "litres_per_kg": litres / got["kg"] if picks else None,
        "notes": [{"on": "2026-07-02", "text": "straw laid"}] if picks else [],
        "fruit": got,
        "picks": picks,
    }
