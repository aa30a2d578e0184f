"""A small garden for the engine's tests, and a record that survives its crashes."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from controller.effects import Effect, Outcome, Reserve, SaveEpoch, Settle
from controller.events import LedgerEntry, Started
from controller.garden import Garden

START_UTC_S = datetime(2026, 7, 15, 6, 0, tzinfo=UTC).timestamp()  # 23:00 in Los Angeles
DAY_S = 86_400.0
LITRES_PER_PULSE = 0.1
FULL_M3_M3, DRY_M3_M3 = 0.28, 0.14
QUIET_S = 140.0  # a lease of 90 s, a nonce's 45 s, and 5 s


def small_garden(
    *,
    beds: tuple[str, ...] = ("south",),
    master: bool = False,
    meter: bool = False,
    at_once: int = 1,
    hours: str = "always",
    emitters: int = 48,
    **limits: float,
) -> Garden:
    """Beds of four plants: TAW 77 mm over 1.92 m2 = 148 L, full grown; 1.6 L/min each."""
    valves: dict[str, dict[str, str]] = {bed: {} for bed in beds}
    if master:
        valves["master"] = {"role": "master"}
    supply: dict[str, Any] = {"flow_l_min": 14.0}
    if meter:
        supply["meter"] = "main"
    return Garden.model_validate(
        {
            "garden": {
                "id": "plot",
                "latitude": 47.6,
                "longitude": -122.3,
                "elevation_m": 60,
                "timezone": "America/Los_Angeles",
                "beds_at_once": at_once,
                "hours": hours,
            },
            "supply": supply,
            "beds": {
                bed: {
                    "transplanted": "2026-05-09",
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
                for bed in beds
            },
            "probes": {
                f"{bed}-{depth}": {"kind": "theta_m3_m3", "depth_cm": depth, "every_s": 600}
                for bed in beds
                for depth in (20, 40)
            },
            "valves": valves,
            "meters": {"main": {"litres_per_pulse": LITRES_PER_PULSE}} if meter else {},
            "limits": limits,
        }
    )


STARTED = Started(  # a first start in that garden
    at_utc_s=START_UTC_S,
    mono_s=0.0,
    trusted_s=0.0,
    stored_epoch=0,
    garden_json=small_garden().model_dump_json(),
)


@dataclass(slots=True, kw_only=True)
class Row:
    """A reservation as a record keeps it."""

    bed: str
    charged_l: float
    ended_trusted_s: float | None = None
    outcome: Outcome | None = None


@dataclass(slots=True, kw_only=True)
class Record:
    """What survives a crash."""

    rows: dict[str, Row] = field(default_factory=dict)
    epoch: int = 0
    seq_high: int = 0

    def take(self, effect: Effect) -> None:
        """Keep what an effect says."""
        match effect:
            case SaveEpoch():
                self.epoch, self.seq_high = effect.epoch, 0
            case Settle():
                row = self.rows.get(effect.dose)
                if row is None:
                    return
                assert row.outcome is None, f"{effect.dose} was settled twice"
                row.outcome = effect.outcome
                row.charged_l = effect.charged_l
                row.ended_trusted_s = effect.ended_trusted_s
            case _:
                pass

    def reserve(self, effect: Reserve) -> None:
        """Keep a reservation, synced."""
        assert effect.dose not in self.rows, f"{effect.dose} was reserved twice"
        self.rows[effect.dose] = Row(bed=effect.bed, charged_l=effect.reserved_l)
        self.seq_high = max(self.seq_high, effect.seq_high)

    def assume_full(self, trusted_s: float) -> None:
        """Charge in full what has no end."""
        for row in self.rows.values():
            if row.outcome is None:
                row.outcome = Outcome.ASSUMED_FULL
                row.ended_trusted_s = trusted_s

    def entries(self) -> tuple[LedgerEntry, ...]:
        """The ledger as a start gets it."""
        return tuple(
            LedgerEntry(
                dose=dose,
                bed=row.bed,
                charged_l=row.charged_l,
                ended_trusted_s=row.ended_trusted_s,
            )
            for dose, row in self.rows.items()
        )
