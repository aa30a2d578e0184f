"""The gardens that hostile scripts are played in, each met at one of three starts."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from controller.garden import Garden

BEDS = ("south", "wall", "hedge")
FULL_M3_M3, DRY_M3_M3 = 0.28, 0.14
LITRES_PER_PULSE = 0.1
USUAL_KPA = 150.0  # behind the regulator, where the garden file says it
CAPS: dict[str, Any] = {"bed_l_day": 130.0, "dose_l": 110.0, "site_l_day": 260.0}
TIGHT: dict[str, Any] = {"bed_l_day": 60.0, "dose_l": 45.0, "site_l_day": 100.0}
STARTS = {  # instant, day of planting; the second and third have a night with a changed clock
    "july": (datetime(2026, 7, 15, 6, 0, tzinfo=UTC).timestamp(), "2026-05-09"),
    "march": (datetime(2026, 3, 7, 18, 0, tzinfo=UTC).timestamp(), "2026-01-02"),
    "november": (datetime(2026, 10, 31, 18, 0, tzinfo=UTC).timestamp(), "2026-08-20"),
}

Kind = dict[str, Any]
KINDS: dict[str, Kind] = {
    "plain": {},
    "master": {"master": True},
    "meter": {"meter": True, "at_once": 2},
    "all": {
        "master": True,
        "meter": True,
        "mast": True,
        "at_once": 2,
        "supply": {"flow_l_min": 14.0, "pressure_kpa": USUAL_KPA},
    },
    "night": {
        "master": True,
        "meter": True,
        "mast": True,
        "at_once": 3,
        "hours": "22:00-sunrise",
        "supply": {"flow_l_min": 8.0},
    },
    "scarce": {
        "meter": True,
        "mast": True,
        "at_once": 2,
        "supply": {
            "flow_l_min": 14.0,
            "tank_l": 400.0,
            "litres_per_week": 300.0,
            "pressure_kpa": USUAL_KPA,
        },
    },
    "slow": {"master": True, "meter": True, "emitters": 48},
    "shared": {
        "master": True,
        "meter": True,
        "mast": True,
        "at_once": 2,
        "supply": {"flow_l_min": 14.0, "shared": True},
    },
}


@lru_cache(maxsize=64)
def garden_of(kind: str, start: str = "july", *, tight: bool = False) -> Garden:
    """One of the gardens; `tight` has smaller caps, as a reload may bring them."""
    of, planted = KINDS[kind], STARTS[start][1]
    has_master, has_meter = of.get("master", False), of.get("meter", False)
    supply: dict[str, Any] = dict(of.get("supply", {"flow_l_min": 14.0}))
    if has_meter:
        supply["meter"] = "main"
    valves: dict[str, Any] = {bed: {} for bed in BEDS}
    if has_master:
        valves["master"] = {"role": "master"}
    return Garden.model_validate(
        {
            "garden": {
                "id": "plot",
                "latitude": 47.6,
                "longitude": -122.3,
                "elevation_m": 60,
                "timezone": "America/Los_Angeles",
                "beds_at_once": of.get("at_once", 1),
                "hours": of.get("hours", "always"),
            },
            "supply": supply,
            "beds": {bed: _bed(bed, planted, of.get("emitters", 96)) for bed in BEDS},
            "probes": {
                f"{bed}-{depth}": {"kind": "theta_m3_m3", "depth_cm": depth, "every_s": 600}
                for bed in BEDS
                for depth in (20, 40)
            },
            "valves": valves,
            "meters": {"main": {"litres_per_pulse": LITRES_PER_PULSE}} if has_meter else {},
            "weather": {"mast": {}} if of.get("mast") else {},
            "limits": TIGHT if tight else CAPS,
        }
    )


@lru_cache(maxsize=64)
def json_of(kind: str, start: str = "july", *, tight: bool = False) -> str:
    """The same as JSON, as a start or a reload is told it."""
    return garden_of(kind, start, tight=tight).model_dump_json()


def _bed(bed: str, planted: str, emitters: int) -> dict[str, Any]:
    """Four plants over 1.92 m2: TAW 148 L full grown, 3.2 L/min from 96 emitters."""
    return {
        "transplanted": planted,
        "plants": 4,
        "spacing_m": 0.6,
        "width_m": 1.2,
        "wetted_width_m": 0.8,
        "field_capacity_m3_m3": FULL_M3_M3,
        "wilting_point_m3_m3": DRY_M3_M3,
        "emitters": emitters,
        "emitter_l_h": 2.0,
        "valve": bed,
        "probes": [f"{bed}-20", f"{bed}-40"],
    }
