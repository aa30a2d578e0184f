"""How water moves through the layers of the simulated soil in one inner step.

Darcy with the matric flux potential Phi = integral of K over tension: between two layers flow
(Phi_upper - Phi_lower) / distance + K, in mm/h, counted downwards. K is the upper layer's where
that is the wetter, so that thick layers pass a front on; where the lower is wetter, it is the mean
over tension, (Phi_lower - Phi_upper) / (tension_upper - tension_lower), so that soil at rest over a
wet floor is truly at rest. A step is implicit and linearised once: each flow is taken near the
step's end as its present value plus its slope times the layers' change. That is stable for any
length; its length is chosen for accuracy instead, so that no wet layer's conductivity changes by
more than about `CONDUCTIVITY_CHANGE_FRAC`. A layer's change is always the sum of its flows, so
that the algebra neither makes nor loses water.

Units: water in mm, conductivity in mm/h, Phi in mm2/h, links in 1/mm.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from sim.soil_curve import Curve

CONDUCTIVITY_CHANGE_FRAC = 0.3  # [-] largest change of a wet layer's conductivity in a step; ours
END_WEIGHT = 0.55  # [-] weight of a step's end in its flows: 0.5 most accurate, 1 most damped; ours
WETTER = (
    1.0 + 1e-9
)  # [-] potentials nearer than this are equal: their tensions cannot be told apart
QUIET_MM_H = 1e-6  # [mm/h] a net flow below this limits no step


class Layers(NamedTuple):
    """What never changes about a column's layers.

    Args:
        b: the curve's exponent.
        ks_mm_h: conductivity at saturation.
        phi_scale_mm2_h: Phi at saturation without the cap [mm2/h].
        tension_gain: tension [mm] over Phi / K, which is 1 + 3/b for this curve.
        cap_ratio: share of saturation above which K and Phi are held.
        full_mm: water of each layer at saturation.
        inv_full_per_mm: its inverse.
        links_per_mm: 1 / distance from each layer's middle to the next [1/mm]; the last to the
            floor, 0 where that is free.
        links_above_per_mm: the same upwards, the first to the surface [1/mm].
        links_inside_per_mm: the same, the first 0: what enters does not hang on the first layer.
        floor_phi_mm2_h: Phi of the floor [mm2/h], None = free drainage.
        floor_k_mm_h: its conductivity [mm/h].
        floor_gives: whether water also rises from the floor.
    """

    b: float
    ks_mm_h: float
    phi_scale_mm2_h: float
    tension_gain: float
    cap_ratio: float
    full_mm: list[float]
    inv_full_per_mm: list[float]
    links_per_mm: list[float]
    links_above_per_mm: list[float]
    links_inside_per_mm: list[float]
    floor_phi_mm2_h: float | None
    floor_k_mm_h: float
    floor_gives: bool


def lay_layers(
    curve: Curve,
    thickness_mm: tuple[float, ...],
    floor_tension_kpa: float | None,
    *,
    floor_gives: bool,
) -> Layers:
    """Work out what never changes; the surface and the floor are half a layer away.

    Args:
        curve: the soil.
        thickness_mm: layers from the top down [mm].
        floor_tension_kpa: of the floor [kPa], None = free drainage.
        floor_gives: whether water also rises from it.
    """
    full = [curve.theta_s_m3_m3 * z for z in thickness_mm]
    between = [2.0 / (a + b) for a, b in pairwise(thickness_mm)]
    links = [*between, 0.0 if floor_tension_kpa is None else 2.0 / thickness_mm[-1]]
    above = [2.0 / thickness_mm[0], *between]
    cap = curve.capped_ratio()
    floor_phi = None
    floor_k = 0.0
    if floor_tension_kpa is not None:
        floor_k = curve.conductivity_mm_h(curve.theta_m3_m3(floor_tension_kpa))
        floor_phi = curve.flux_potential_mm2_h(curve.theta_m3_m3(floor_tension_kpa))
    top_phi = curve.flux_potential_mm2_h(curve.theta_s_m3_m3)
    return Layers(
        b=curve.b,
        ks_mm_h=curve.ks_mm_h,
        phi_scale_mm2_h=top_phi / cap ** (curve.b + 3.0),
        tension_gain=1.0 + 3.0 / curve.b,
        cap_ratio=cap,
        full_mm=full,
        inv_full_per_mm=[1.0 / water for water in full],
        links_per_mm=links,
        links_above_per_mm=above,
        links_inside_per_mm=[0.0, *between],
        floor_phi_mm2_h=floor_phi,
        floor_k_mm_h=floor_k,
        floor_gives=floor_gives,
    )


class Flows(NamedTuple):
    """What holds between the layers now.

    Args:
        phi_mm2_h: matric flux potential of each layer [mm2/h].
        k_mm_h: conductivity of each layer [mm/h].
        rates_mm_h: flow out of each layer to the next, the last through the floor [mm/h].
        limit_h: the longest accurate step [h].
    """

    phi_mm2_h: list[float]
    k_mm_h: list[float]
    rates_mm_h: list[float]
    limit_h: float


def conduct(layers: Layers, water_mm: list[float], entering_mm_h: float) -> Flows:
    """Work out the flows as they are now, and how long they may be trusted.

    Args:
        layers: the column.
        water_mm: water of each layer, above 0.
        entering_mm_h: what comes in at the top.
    """
    b, ks, scale, tension_gain, cap = layers[:5]
    phi: list[float] = []
    k: list[float] = []
    rates: list[float] = []
    gravity = b + b + 3.0
    potential = conductivity = inverse_above = 0.0
    fastest = QUIET_MM_H * layers.inv_full_per_mm[0]
    coming = entering_mm_h
    for water, inverse, link in zip(
        water_mm, layers.inv_full_per_mm, layers.links_above_per_mm, strict=True
    ):
        s = water * inverse
        if s > cap:
            s = cap
        power = s**b
        cube = s * s * s * power
        above = potential
        above_k = conductivity
        potential = scale * cube
        conductivity = ks * power * cube
        if phi:
            if potential > above * WETTER:
                gap = tension_gain * (above / above_k - potential / conductivity)
                rate = (above - potential) * (link - 1.0 / gap)
            else:
                rate = (above - potential) * link + above_k
            rates.append(rate)
            change = (coming - rate) * inverse_above
            if change > fastest or -change > fastest:
                fastest = abs(change)
            coming = rate
        phi.append(potential)
        k.append(conductivity)
        inverse_above = inverse
    rate = through_floor(layers, potential, conductivity, layers.links_per_mm[-1])
    rates.append(rate)
    fastest = max(fastest, abs(coming - rate) * inverse_above)
    return Flows(phi, k, rates, CONDUCTIVITY_CHANGE_FRAC / (gravity * fastest))


def through_floor(layers: Layers, phi: float, k: float, link: float) -> float:
    """Flow out of the soil above the floor [mm/h]; negative only where the floor gives.

    Args:
        layers: the column.
        phi: of the soil above [mm2/h].
        k: of the soil above [mm/h].
        link: 1 / distance to the floor [1/mm].
    """
    floor_phi = layers.floor_phi_mm2_h
    if floor_phi is None:
        return k
    if floor_phi > phi * WETTER:
        gap = layers.tension_gain * (phi / k - floor_phi / layers.floor_k_mm_h)
        rate = (phi - floor_phi) * (link - 1.0 / gap)
    else:
        rate = (phi - floor_phi) * link + k
    return rate if rate > 0.0 or layers.floor_gives else 0.0


# one layer's equation, less what links it to the layer above: its outflow now [mm/h], how that
# grows with its own water and how its inflow falls with it, weighted [1/h], what stands before its
# change [1/h], and what that comes to [mm/h]
Row = tuple[float, float, float, float, float]


def _eliminate(
    layers: Layers,
    water_mm: list[float],
    flows: Flows,
    entering_mm_h: float,
    inverse_h: float,
    *,
    from_pond: bool,
) -> list[Row]:
    """Set up the rows from the top down; a floor that takes nothing now goes on taking nothing."""
    phi_gain = END_WEIGHT * (layers.b + 3.0)
    k_gain = END_WEIGHT * (2.0 * layers.b + 3.0)
    rows: list[Row] = []
    carried = right = 0.0
    coming = entering_mm_h
    for water, phi, k, above, below, rate in zip(
        water_mm,
        flows.phi_mm2_h,
        flows.k_mm_h,
        layers.links_above_per_mm if from_pond else layers.links_inside_per_mm,
        layers.links_per_mm,
        flows.rates_mm_h,
        strict=True,
    ):
        slope = phi_gain * phi / water
        rise = slope * above
        fall = slope * below + k_gain * k / water
        pivot = inverse_h + fall + rise - carried * rise
        right = coming - rate + carried * right
        rows.append((rate, fall, rise, pivot, right))
        carried = fall / pivot
        coming = rate
    if coming == 0.0:
        rate, fall, rise, pivot, right = rows[-1]
        rows[-1] = (rate, 0.0, rise, pivot - fall, right)
    return rows


def solve(
    layers: Layers,
    water_mm: list[float],
    flows: Flows,
    hours: float,
    entering_mm_h: float,
    *,
    from_pond: bool,
) -> list[float]:
    """What passes in a step, by elimination downwards and substitution upwards.

    Args:
        layers: the column.
        water_mm: water of each layer at its beginning.
        flows: the flows at its beginning.
        hours: its length [h].
        entering_mm_h: what comes in at the top at its beginning.
        from_pond: whether that falls as the first layer fills.

    Returns:
        [mm] into the first layer, then out of each in turn.
    """
    rows = _eliminate(layers, water_mm, flows, entering_mm_h, 1.0 / hours, from_pond=from_pond)
    passed: list[float] = []
    push = 0.0
    for rate, fall, rise, pivot, right in reversed(rows):
        change = (right + push) / pivot
        passed.append((rate + fall * change - push) * hours)
        push = rise * change
    passed.append((entering_mm_h - push) * hours)
    passed.reverse()
    return passed
