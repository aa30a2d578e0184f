"""Water on its way into, through and out of a soil: closed forms of one dimension.

Scale: a column of soil, mm over its surface, in hours. These are the yardsticks that a simulated
soil is held against; a bed's own balance needs none of them.

Sources: Green & Ampt 1911 and the time to ponding as in Chow, Maidment & Mays 1988, Philip 1957,
Gardner 1958; drainage is worked out here. Left out: layers, cracks, hysteresis.
"""

from __future__ import annotations

from math import expm1, inf, log, log1p, nan, pi, sin, sqrt

from controller.agronomy.soil import SoilHydraulics

NEWTON_STEPS = 12  # six reach the last figure from a thousandth to a thousand of `s`
SHARP_FRONT_A = 2.0 / 3.0  # [-] Philip's A over K where the front is sharp
M_PER_MM = 1e-3


def green_ampt_mm(hours: float, ks_mm_h: float, suction_mm: float, room_m3_m3: float) -> float:
    """Water that a ponded soil has taken in: F - s ln(1 + F/s) = K t with s = suction x room.

    Args:
        hours: since the pond stood [h], 0 or more.
        ks_mm_h: conductivity behind the front [mm/h], above 0.
        suction_mm: at the front [mm of water], above 0.
        room_m3_m3: content behind the front less that before it [m3/m3], above 0.

    Returns:
        F [mm]; NaN where an input makes no sense.

    Source: Green & Ampt 1911; Chow, Maidment & Mays 1988 eq. 4.3.
    """
    pull_mm, given_mm = suction_mm * room_m3_m3, ks_mm_h * hours
    if not (pull_mm > 0.0 and 0.0 <= given_mm < inf):
        return nan
    share = given_mm / pull_mm
    if share == 0.0:
        return 0.0
    found = share + sqrt(share + share)  # above the root, from where Newton's steps only fall
    for _ in range(NEWTON_STEPS):
        found -= (found - log1p(found) - share) * (1.0 + found) / found
    return found * pull_mm


def green_ampt_rate_mm_h(
    infiltrated_mm: float, ks_mm_h: float, suction_mm: float, room_m3_m3: float
) -> float:
    """Rate at which a ponded soil takes water in.

    Args:
        infiltrated_mm: F so far [mm], above 0.
        ks_mm_h: conductivity behind the front [mm/h].
        suction_mm: at the front [mm of water].
        room_m3_m3: content behind the front less that before it [m3/m3].

    Returns:
        f [mm/h]; unbounded at the first drop.

    Source: Green & Ampt 1911; Chow, Maidment & Mays 1988 eq. 4.3.
    """
    if not infiltrated_mm > 0.0:
        return inf
    return ks_mm_h * (1.0 + suction_mm * room_m3_m3 / infiltrated_mm)


def ponding_h(rate_mm_h: float, ks_mm_h: float, suction_mm: float, room_m3_m3: float) -> float:
    """How long steady rain or drip goes in before it stands on the ground.

    Args:
        rate_mm_h: of the water [mm/h], 0 or more.
        ks_mm_h: conductivity behind the front [mm/h], above 0.
        suction_mm: at the front [mm of water].
        room_m3_m3: content behind the front less that before it [m3/m3].

    Returns:
        Time to ponding [h]; without end where the soil takes all of it. By then rate x time is in.

    Source: Chow, Maidment & Mays 1988 ch. 4.4, numbering from memory.
    """
    if not rate_mm_h > ks_mm_h:
        return inf
    return ks_mm_h * suction_mm * room_m3_m3 / (rate_mm_h * (rate_mm_h - ks_mm_h))


def sorptivity_mm_per_root_h(ks_mm_h: float, suction_mm: float, room_m3_m3: float) -> float:
    """Philip's S of a soil with a sharp front, sqrt(2 K s).

    Args:
        ks_mm_h: conductivity behind the front [mm/h], 0 or more.
        suction_mm: at the front [mm of water], 0 or more.
        room_m3_m3: content behind the front less that before it [m3/m3], 0 or more.

    Returns:
        S [mm/h^0.5].

    Source: Philip 1957, for the soil of Green & Ampt.
    """
    return sqrt(2.0 * ks_mm_h * suction_mm * room_m3_m3)


def philip_mm(
    hours: float, sorptivity_mm_per_root_h: float, ks_mm_h: float, share: float = SHARP_FRONT_A
) -> float:
    """Water taken in early under a pond, by the first two terms of Philip's series.

    Args:
        hours: since the pond stood [h], 0 or more; from 1 h on the series is too low.
        sorptivity_mm_per_root_h: S [mm/h^0.5].
        ks_mm_h: saturated conductivity [mm/h].
        share: A over K [-]: 2/3 where the front is sharp, 1/3 where it spreads.

    Returns:
        I [mm].

    Source: Philip 1957; the range of A: Philip 1969, from memory.
    """
    return sorptivity_mm_per_root_h * sqrt(hours) + share * ks_mm_h * hours


def gardner_coefficient(n: float) -> float:
    """A_n of the most that can evaporate from above a water table.

    Args:
        n: exponent of K = a/(h^n + b) [-], above 1.

    Returns:
        A_n [-]; NaN for an n that has none.

    Source: Gardner 1958, in closed form: (pi/(n sin(pi/n)))^n.
    """
    return float((pi / (n * sin(pi / n))) ** n) if n > 1.0 else nan


def gardner_most_mm_h(a: float, n: float, depth_mm: float) -> float:
    """The most that can rise from a water table and evaporate.

    Args:
        a: of K = a/(h^n + b) [mm/h mm^n].
        n: the exponent [-], above 1.
        depth_mm: of the water table below the surface [mm], above 0.

    Returns:
        Rate [mm/h]; NaN without a depth.

    Source: Gardner 1958.
    """
    return gardner_coefficient(n) * a / float(depth_mm**n) if depth_mm > 0.0 else nan


def drained_theta_m3_m3(
    soil: SoilHydraulics, theta_m3_m3: float, layer_m: float, hours: float
) -> float:
    """What a wet layer still holds after draining under its own weight.

    It goes on for weeks: field capacity is a time, not an end.

    Args:
        soil: the soil; saturation, conductivity and B count.
        theta_m3_m3: content at the start [m3/m3], up to saturation.
        layer_m: thickness [m], above 0.
        hours: since then [h], 0 or more.

    Returns:
        Water content [m3/m3], mean of the layer.

    Source: d theta/dt = -K(theta)/Z with Saxton & Rawls 2006 eq. 17, integrated.
    """
    if not (layer_m > 0.0 and theta_m3_m3 > 0.0 and hours >= 0.0):
        return nan
    saturated = soil.saturation_m3_m3
    power = 2.0 + 2.0 * soil.b
    start = min(1.0, theta_m3_m3 / saturated)
    gone = power * soil.ks_mm_h * hours * M_PER_MM / (layer_m * saturated)
    return float(saturated * (start**-power + gone) ** (-1.0 / power))


def drained_h(soil: SoilHydraulics, layer_m: float, rate_mm_d: float) -> float:
    """How long a saturated layer drains until it gives no more than a small rate below.

    Args:
        soil: the soil.
        layer_m: thickness [m], above 0.
        rate_mm_d: counted as drained [mm/d], above 0; 1 mm/d is in use.

    Returns:
        Time [h], 0 or more; NaN where an input makes no sense.

    Source: as `drained_theta_m3_m3`; 1 mm/d as a field capacity: from memory.
    """
    if not (layer_m > 0.0 and rate_mm_d > 0.0 and soil.ks_mm_h > 0.0):
        return nan
    power = 2.0 + 2.0 * soil.b
    wet = rate_mm_d / 24.0 / soil.ks_mm_h  # K over Ks then; the content's share is its root
    if wet >= 1.0:
        return 0.0
    scale_h = layer_m * soil.saturation_m3_m3 / (M_PER_MM * power * soil.ks_mm_h)
    return scale_h * expm1(-power / (power + 1.0) * log(wet))
