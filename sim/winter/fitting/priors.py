"""What a fit may learn, and what is believed of it before anything was seen.

The prior of each quantity is the very spread that `sim.draws` draws worlds from. Inside the fit
each is a coordinate `z` of mean 0 and standard deviation 1, so that the sum of squared `z` is the
prior. An even spread is taken as a normal one of the same standard deviation, cut at its ends: that
keeps a quantity straight in its coordinate, and its interval honest near an end. Ours beyond
`sim.draws`: the depletion at the start (even between 0 and `START_MOST_FRAC`), and the response of
a probe to the soil's temperature, whose two-sided spread is taken as normal with the same root
mean square.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sim import draws
from sim.draws import BedDraw, ProbeDraw

EVEN_END_Z = math.sqrt(3.0)  # [-] standard deviations from the middle of an even spread to its end
FAR_Z = 6.0
START_MOST_FRAC = 0.6  # [-] of the available water gone at the start, at most; ours
LEAST, MOST = draws.PROBE_TEMPERATURE_LEAST_FRAC, draws.PROBE_TEMPERATURE_MOST_FRAC
WARMTH_SD_PER_C = draws.PROBE_SPAN_M3_M3 * math.sqrt((LEAST**2 + LEAST * MOST + MOST**2) / 3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One thing that may be learned.

    Args:
        name: as in the fit file.
        spread: standard deviation of a normal one, half the width of an even one, in its unit.
        even: whether it is even.
        centre: middle of an even one.
        says: for people.
    """

    name: str
    spread: float
    says: str
    even: bool = False
    centre: float = 0.0

    def value(self, z: float) -> float:
        """The quantity at a coordinate, which may lie beyond an end."""
        return self.centre + self.prior_sd * z

    def inside(self, z: float) -> float:
        """A coordinate brought back to the nearer end of an even one."""
        return min(self.most_z, max(-self.most_z, z))

    @property
    def most_z(self) -> float:
        """The coordinate of the end of an even one; far off for a normal one."""
        return EVEN_END_Z if self.even else FAR_Z

    def z_of(self, value: float) -> float:
        """The coordinate of a value."""
        return (value - self.centre) / self.prior_sd

    @property
    def prior_sd(self) -> float:
        """Standard deviation before anything was seen."""
        return self.spread / EVEN_END_Z if self.even else self.spread


# those of the column, each of which takes a run of its own to try
COLUMN = (
    Quantity(
        name="fc_off_frac",
        spread=draws.FC_SPREAD_FRAC,
        even=True,
        says="field capacity of the soil",
    ),
    Quantity(name="ks_log", spread=math.log(draws.KS_FACTOR), says="how fast it drains"),
    Quantity(
        name="kc_off_frac", spread=draws.KC_SPREAD_FRAC, even=True, says="thirst of the plants"
    ),
    Quantity(
        name="p_off_frac", spread=draws.P_SPREAD_FRAC, even=True, says="where their stress begins"
    ),
    Quantity(
        name="start_frac",
        spread=START_MOST_FRAC / 2.0,
        even=True,
        centre=START_MOST_FRAC / 2.0,
        says="how dry it was at the start",
    ),
    Quantity(name="meter_frac", spread=draws.METER_SD_FRAC, says="error of the meter"),
)
# those of the probes' place in the bed
SPOT = (
    Quantity(
        name="spot_water_frac",
        spread=draws.SPOT_WATER_SD_FRAC,
        says="water at the probes' place over the bed's",
    ),
    Quantity(
        name="spot_use_frac",
        spread=draws.SPOT_USE_SD_FRAC,
        says="use at the probes' place over the bed's",
    ),
)
# those of each probe
PROBE = (
    Quantity(name="offset_m3_m3", spread=draws.PROBE_OFFSET_SD_M3_M3, says="offset"),
    Quantity(name="gain_frac", spread=draws.PROBE_GAIN_SD_FRAC, says="gain"),
    Quantity(name="monthly_drift_m3_m3", spread=draws.PROBE_DRIFT_SD_M3_M3, says="drift a month"),
    Quantity(name="temperature_per_c", spread=WARMTH_SD_PER_C, says="response to warmth"),
)
BED = (*COLUMN, *SPOT)


def quantities(probes: Sequence[str]) -> list[tuple[str, Quantity]]:
    """All of a bed's quantities in the order of the fit, under the names of the fit file."""
    found = [(one.name, one) for one in BED]
    return found + [(f"{probe}.{one.name}", one) for probe in probes for one in PROBE]


def values_of(z: Sequence[float], probes: Sequence[str]) -> dict[str, float]:
    """All of a bed's quantities at a point of the fit, by name."""
    named = quantities(probes)
    return {name: one.value(at) for (name, one), at in zip(named, z, strict=True)}


def bed_draw_of(values: dict[str, float], flow_off_frac: float = 0.0) -> BedDraw:
    """A bed's departures.

    Args:
        values: by name, as `values_of` gives them.
        flow_off_frac: what its emitters give over what was bought [-].
    """
    return BedDraw(
        fc_off_frac=values["fc_off_frac"],
        ks_off_frac=math.exp(values["ks_log"]) - 1.0,
        kc_off_frac=values["kc_off_frac"],
        p_off_frac=values["p_off_frac"],
        flow_off_frac=flow_off_frac,
        spot_water_frac=values["spot_water_frac"],
        spot_use_frac=values["spot_use_frac"],
    )


def probe_draw_of(values: dict[str, float], probe: str, seed: int) -> ProbeDraw:
    """A probe's departures, with the noise and the losses of a drawn world.

    Args:
        values: by name, as `values_of` gives them.
        probe: its name.
        seed: of noise and losses.
    """
    return ProbeDraw(
        offset_m3_m3=values[f"{probe}.offset_m3_m3"],
        gain_frac=values[f"{probe}.gain_frac"],
        noise_m3_m3=draws.PROBE_NOISE_SD_M3_M3,
        monthly_drift_m3_m3=values[f"{probe}.monthly_drift_m3_m3"],
        temperature_per_c=values[f"{probe}.temperature_per_c"],
        loses=True,
        seed=seed,
    )
