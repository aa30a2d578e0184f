"""What a grower answered on the first day: everything that the first garden file is made of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from controller.garden_parts import SoilName


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeAnswer:
    """One probe of a bed; `topic` is empty where it is the usual one."""

    name: str
    topic: str
    field: str | None
    senml: str | None
    kind: str
    depth_cm: float
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BedAnswer:
    """One bed; `assumed` names what nobody told and a default stands for."""

    name: str
    plants: int
    spacing_m: float
    width_m: float
    planted: date
    soil: SoilName
    soil_by: str
    mulch: str
    lines: int
    emitter_l_h: float
    emitters: int
    valve_topic: str
    probes: tuple[ProbeAnswer, ...]
    assumed: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """The whole garden. Topics are full `…/state`, `…/meter` names, empty where usual."""

    name: str
    garden_id: str
    timezone: str
    units: str
    latitude: float
    longitude: float
    elevation_m: float
    broker: str
    page_name: str
    bucket_l: float
    bucket_s: float
    pulse_l: float | None
    meter: str
    meter_topic: str
    master: str
    master_topic: str
    mast: str
    mast_topic: str
    beds: tuple[BedAnswer, ...]
    assumed: frozenset[str]

    @property
    def flow_l_min(self) -> float:
        """What the bucket and the watch say of the supply [L/min]."""
        return flow_l_min(self.bucket_l, self.bucket_s)


def flow_l_min(bucket_l: float, bucket_s: float) -> float:
    """Flow of a supply that fills a bucket of so many litres in so many seconds [L/min]."""
    return 60.0 * bucket_l / bucket_s
