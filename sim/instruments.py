"""What a garden's masts and probes tell at one instant, as the controller hears it.

Each probe's way from the ground to a told number is laid out once, since a season asks it some
thirty thousand times. Its readings are made in two steps, which takes half the time of a call by
keywords.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from controller.events import ProbeReading, WeatherReading
from controller.garden import Garden
from sim.fault_replay import ReplayFaults
from sim.faults import TENSION_KINDS, Kind
from sim.forms import teller
from sim.garden_world import GardenWorld

MAST_VALUES = ("temp_c", "rh_pct", "rain_mm_total", "solar_w_m2", "wind_m_s")


class _Way(NamedTuple):
    """One probe's way.

    Attributes:
        name: the probe.
        theta_m3_m3: what it says at an instant [s, Unix]; None when its reading never arrives.
        tension_kpa: the same as tension; None where it tells none.
        told: turns the two into the unit that it tells.
    """

    name: str
    theta_m3_m3: Callable[[float], float | None]
    tension_kpa: Callable[[float], float] | None
    told: Callable[[float, float], float]


class Instruments:
    """The masts and probes of one garden in one world.

    Args:
        garden: whose instruments.
        world: what they stand in.
        faults: what breaks them; None for nothing.
    """

    def __init__(
        self, garden: Garden, world: GardenWorld, faults: ReplayFaults | None = None
    ) -> None:
        self._world = world
        self._faults = faults
        self._masts = tuple(garden.weather)
        self._told: Mapping[str, float] | None = None
        self._values: list[float | None] = []
        self._ways = [
            _Way(
                name,
                world.probe(name).reading_m3_m3,
                world.probe(name).tension_kpa if probe.kind in TENSION_KINDS else None,
                teller(probe),
            )
            for name, probe in garden.probes.items()
        ]

    def weather(self, at_utc_s: float, mono_s: float) -> list[WeatherReading]:
        """What the masts tell now.

        Args:
            at_utc_s: by the controller's clock [s, Unix].
            mono_s: the same [s, monotonic].
        """
        faults = self._faults
        told = self._world.weather()
        if told is not self._told:  # most of an hour it is the same
            self._told, self._values = told, [told.get(name) for name in MAST_VALUES]
        temp_c, rh_pct, rain_mm_total, solar_w_m2, wind_m_s = self._values
        return [
            WeatherReading(
                at_utc_s=at_utc_s,
                mono_s=mono_s,
                mast=mast,
                temp_c=temp_c,
                rh_pct=rh_pct,
                rain_mm_total=rain_mm_total,
                solar_w_m2=solar_w_m2,
                wind_m_s=wind_m_s,
            )
            for mast in self._masts
            if faults is None or faults.speaks(Kind.WEATHER, mast)
        ]

    def probes(self, at_utc_s: float, mono_s: float) -> list[ProbeReading]:
        """What the probes tell now, those whose reading arrives.

        Args:
            at_utc_s: by the controller's clock [s, Unix].
            mono_s: the same [s, monotonic].
        """
        faults = self._faults
        now_utc_s = self._world.truth.now_utc_s
        readings: list[ProbeReading] = []
        bare, fill = object.__new__, ProbeReading.__init__
        for name, theta_at, tension_at, told in self._ways:
            theta = theta_at(now_utc_s)
            if theta is None:
                continue  # this one was lost on its way
            tension_kpa = 0.0 if tension_at is None else tension_at(now_utc_s)
            if faults is not None:
                seen = faults.probe_seen(name, theta, tension_kpa)
                if seen is None:
                    continue
                theta, tension_kpa = seen
            value = told(theta, tension_kpa)
            reading = bare(ProbeReading)
            fill(reading, at_utc_s=at_utc_s, mono_s=mono_s, probe=name, value=value)
            readings.append(reading)
        return readings
