"""What the grower has and wants: the garden file (TOML) as a validated, frozen model.

Lengths m, areas m2, flows L/min, caps L in any sliding 24 h, depths of water mm over the wetted
strip of one bed. `load_garden` is the only way in from disk; the journal keeps a garden as JSON
(`model_dump_json`, `garden_of_json`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Self

from pydantic import ValidationError, model_validator

from controller.agronomy.crop import Stage, line_and_floor
from controller.garden_checks import SUPPLY_SHARE_FRAC, Declared, TopicKind, cross_faults, unlived
from controller.garden_file import crossed, predicates, read_document, refuse
from controller.garden_parts import Bed, Limits, Meter, Probe, Supply, Valve, Weather
from controller.garden_ways import Alarm, Broker, GardenInfo, Page

__all__ = [
    "Alarm",
    "Bed",
    "BedLimits",
    "Broker",
    "Garden",
    "GardenInfo",
    "Limits",
    "Meter",
    "Page",
    "Probe",
    "Supply",
    "TopicKind",
    "Valve",
    "Weather",
    "garden_of_json",
    "load_garden",
]

DAY_CAP_REFILLS = 1.5  # [-] default of `bed_l_day`, in refills from the floor
DOSE_CAP_REFILLS = 1.3  # [-] default of `dose_l`; the reservation counts
REFILL_TO_FRAC = 0.05  # [-] of TAW, where a refill stops
MINUTES_A_DAY = 1440.0
BLIND_DAYS = 14  # [d] without a valid probe, on the balance
BLIND_DAYS_NO_WEATHER = 7  # [d] the same without weather


@dataclass(frozen=True, slots=True, kw_only=True)
class BedLimits:
    """The caps of one bed, with their defaults filled in.

    Attributes:
        bed_l_day: most litres in any sliding 24 h.
        dose_l: most litres of one opening, reserved.
        open_max_s: longest unbroken opening [s].
        refill_l: a refill from the floor, full-grown, that the defaults follow from.
    """

    bed_l_day: float
    dose_l: float
    open_max_s: int
    refill_l: float


class Garden(Declared):
    """A garden file without a fault. Derived amounts are methods; nothing is remembered."""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        faults = cross_faults(self)
        if faults:
            raise crossed(faults)
        return self

    def bed_flow_l_min(self, bed: str) -> float:
        """Nominal flow of a bed's emitters [L/min]."""
        return self.beds[bed].flow_l_min

    def wetted_area_m2(self, bed: str) -> float:
        """Ground that a bed's drip lines wet [m2]."""
        return self.beds[bed].wetted_area_m2

    def ground_area_m2(self, bed: str) -> float:
        """Ground that a bed's plants have to themselves [m2]."""
        return self.beds[bed].ground_area_m2

    @property
    def shared_flow_l_min(self) -> float:
        """Flow that open beds may take together [L/min]."""
        return SUPPLY_SHARE_FRAC * self.supply.flow_l_min

    @property
    def master(self) -> str | None:
        """Id of the master valve, None where there is none."""
        return self._with_role("master")

    @property
    def pump(self) -> str | None:
        """Id of the pump's valve, None where there is none."""
        return self._with_role("pump")

    @property
    def meter(self) -> str | None:
        """Id of the meter in the supply, None where there is none."""
        return self.supply.meter

    def _with_role(self, role: str) -> str | None:
        return next((name for name, valve in self.valves.items() if valve.role == role), None)

    def refill_l(self, bed: str) -> float:
        """Litres that lift a full-grown bed from its deepest floor to where a refill stops [L]."""
        here = self.beds[bed]
        floor = max(line_and_floor(stage, here.lean, here.crop)[1] for stage in LATER_STAGES)
        return (floor - REFILL_TO_FRAC) * here.taw_mm * here.wetted_area_m2

    def limits_for(self, bed: str) -> BedLimits:
        """Fill in the caps of one bed, which follow from its refill where the file is silent.

        Args:
            bed: the bed's name.

        Returns:
            Its caps [L, s].

        Raises:
            KeyError: the garden has no such bed.
        """
        refill_l = self.refill_l(bed)
        told = self.limits
        return BedLimits(
            bed_l_day=DAY_CAP_REFILLS * refill_l if told.bed_l_day is None else told.bed_l_day,
            dose_l=DOSE_CAP_REFILLS * refill_l if told.dose_l is None else told.dose_l,
            open_max_s=told.open_max_s,
            refill_l=refill_l,
        )

    @property
    def site_l_day(self) -> float:
        """Most litres of the whole site in any sliding 24 h [L].

        Untold, it is the sum of the beds' caps, but no more than the supply can give in a day or
        than a week's allowance.
        """
        if self.limits.site_l_day is not None:
            return self.limits.site_l_day
        week_l = self.supply.litres_per_week
        return min(
            sum(self.limits_for(bed).bed_l_day for bed in self.beds),
            self.shared_flow_l_min * MINUTES_A_DAY,
            float("inf") if week_l is None else week_l,
        )

    @property
    def blind_days(self) -> int:
        """Days that a bed without a valid probe is watered on the balance [d]."""
        if self.limits.blind_days is not None:
            return self.limits.blind_days
        return BLIND_DAYS if self.weather else BLIND_DAYS_NO_WEATHER


# Caps are made for grown plants: a bed that establishes is watered far above its floor.
LATER_STAGES = tuple(stage for stage in Stage if stage is not Stage.ESTABLISHING)


def load_garden(path: Path) -> Garden:
    """Read and validate a garden file.

    Args:
        path: the file.

    Returns:
        The garden.

    Raises:
        GardenError: the file cannot be read or is wrong; one sentence a fault.
    """
    document = read_document(path)
    try:
        garden = Garden.model_validate(document.data)
        faults = unlived(garden)
    except ValidationError as exc:
        faults = predicates(Garden, exc.errors(include_url=False))
    if faults:
        raise refuse(document, faults)
    return garden


@lru_cache(maxsize=4)
def garden_of_json(text: str) -> Garden:
    """Read a garden as the journal keeps it; a start reads the same one more than once.

    Args:
        text: what `model_dump_json` gave.

    Raises:
        ValidationError: no garden was ever written so.
    """
    return Garden.model_validate_json(text)
