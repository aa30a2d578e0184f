"""What a season's record tells a fit: a bed's water, its probes' hours, the weather over it.

Contents in m3/m3, litres of the whole bed, instants in Unix seconds UTC. An hour of a probe is the
mean of its readings as the garden file's own calibration turns them into content.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from controller.garden import Garden
from sim.season_types import Season


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """One stretch of water onto a bed, taken as even.

    Args:
        from_utc_s, to_utc_s: begin and end [Unix s UTC], the end later.
        litres: what the record says of it [L]; a meter's error is in it.
    """

    from_utc_s: float
    to_utc_s: float
    litres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeHours:
    """The hours of one probe that has readings.

    Args:
        probe: its name.
        hour_utc_s: when each hour begins [Unix s UTC], rising.
        theta_m3_m3: its mean [m3/m3], as many.
    """

    probe: str
    hour_utc_s: tuple[int, ...]
    theta_m3_m3: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BedSeen:
    """What was recorded of one bed.

    Args:
        water: in order of time.
        probes: those with readings that tell water content.
        open_s: how long its valve stood open in all [s]; 0 where that is not told.
        valve_l: what it gave in that time [L].
    """

    water: tuple[Water, ...]
    probes: tuple[ProbeHours, ...]
    open_s: float = 0.0
    valve_l: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """A season's record.

    Args:
        garden: the garden file, its dates in the season's year.
        season: the weather.
        from_utc_s, to_utc_s: what is fitted lies between [Unix s UTC].
        beds: by name.
        source: where the record comes from.
        notes: sentences about what was repaired or left out.
    """

    garden: Garden
    season: Season
    from_utc_s: float
    to_utc_s: float
    beds: Mapping[str, BedSeen]
    source: str
    notes: tuple[str, ...] = field(default=())
