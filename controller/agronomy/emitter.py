"""One drip emitter and a line of them by design: flow by pressure, and how even it can be.

Scale: one emitter or one line. Flow in l/h, pressure in kPa. Measured litres beat all of this.

Where an input makes no sense the result is NaN, and NaN never opens a valve.

Sources: the emitter's power law; Karmeli & Keller 1975; both from memory.
"""

from __future__ import annotations

from math import nan, sqrt

ORIFICE_EXPONENT = 0.5  # [-] turbulent or orifice; laminar 1, pressure-compensating near 0
EMITTER_SPREAD = 1.27  # [-] Karmeli & Keller 1975: low quarter of normally spread flows


def emitter_l_h(
    nominal_l_h: float,
    pressure_kpa: float,
    nominal_kpa: float,
    exponent: float = ORIFICE_EXPONENT,
) -> float:
    """Flow of an emitter at a pressure that is not its nominal one, q = k h^x.

    Args:
        nominal_l_h: flow at `nominal_kpa` [l/h], 0 or more.
        pressure_kpa: at the emitter [kPa], 0 or more.
        nominal_kpa: [kPa], above 0; 100 is usual.
        exponent: x [-], 0…1: 0.5 turbulent, 1 laminar, near 0 pressure-compensating.

    Returns:
        Flow [l/h]; NaN where an input makes no sense.

    Source: the emitter's power law, from memory.
    """
    if not (nominal_l_h >= 0.0 and pressure_kpa >= 0.0 and nominal_kpa > 0.0):
        return nan
    return float(nominal_l_h * (pressure_kpa / nominal_kpa) ** exponent)


def flow_change_frac(pressure_change_frac: float, exponent: float = ORIFICE_EXPONENT) -> float:
    """Change of flow for a small change of pressure, dq/q = x dh/h.

    Args:
        pressure_change_frac: dh/h [-], small: -0.2…0.2.
        exponent: x [-], 0…1.

    Returns:
        dq/q [-].

    Source: the power law, differentiated.
    """
    return exponent * pressure_change_frac


def emission_uniformity_frac(
    spread: float, emitters_per_plant: float, lowest_l_h: float, mean_l_h: float
) -> float:
    """How even a line will be by design: makers' spread and pressure together.

    Args:
        spread: the maker's coefficient of variation Cv [-]: 0.03 good, 0.10 poor.
        emitters_per_plant: how many feed a plant, 1 or more.
        lowest_l_h: flow where the pressure is lowest [l/h].
        mean_l_h: mean flow [l/h], above 0.

    Returns:
        EU [-], 0…1; NaN without flow or emitters.

    Source: Karmeli & Keller 1975, from memory.
    """
    if not (mean_l_h > 0.0 and emitters_per_plant > 0.0):
        return nan
    made = 1.0 - EMITTER_SPREAD * spread / sqrt(emitters_per_plant)
    return min(1.0, max(0.0, made * lowest_l_h / mean_l_h))
