"""Water in a root zone: how much it can give, how much it lacks, what plants and sun take.

Scale: one bed, in mm over whichever area the caller keeps (ground or wetted strip); water that was
metered over one area is brought to the other before it comes here. Depletion Dr is counted from
field capacity, so 0 is full and TAW is the wilting point. All functions are single steps of any
length and leave the state with the caller.

Order within a step: water in, surplus drained, stress factor from what is left, then use. That is
the order of the table in FAO-56 example 38; its eq. 88 as printed takes the day's use first and so
hides a day of drainage.

Source: FAO-56 chapters 7 and 8. Left out: capillary rise, runoff.
"""

from __future__ import annotations

from math import sqrt

from controller.agronomy.crop import climate_term

MM_PER_M = 1000.0
KC_MAX_BASE = 1.2  # FAO-56 eq. 72; 1.1 where the soil is wetted more often than each third day
KC_MAX_OVER_KCB = 0.05  # FAO-56 eq. 72
BARE_KC = 0.15  # Kc min of dry bare soil, FAO-56 eq. 76: 0.15-0.20
SURFACE_M = 0.10  # [m] Ze, FAO-56 eq. 73: 0.10-0.15
CANOPY_SHADE_FRAC = 2.0 / 3.0  # of fc, drip below the canopy: FAO-56 ch. 7, eq. 75 and after
DENSE_COVER_FRAC = 0.85  # fc of a dense stand of tomatoes, FAO-56 ch. 9, from memory
RAIN_IGNORED_ETO = 0.2  # [d] rain below 0.2 ETo a day evaporates at once, FAO-56 ch. 8
SIDE_SHARE_FRAC = 0.3  # of what runs off a sheet reaches the bed's edge: our own proposal


def taw_mm(field_capacity_m3_m3: float, wilting_point_m3_m3: float, root_depth_m: float) -> float:
    """Total available water of a root zone.

    Args:
        field_capacity_m3_m3: [m3/m3], above the wilting point.
        wilting_point_m3_m3: [m3/m3].
        root_depth_m: [m].

    Returns:
        TAW [mm].

    Source: FAO-56 eq. 82.
    """
    return MM_PER_M * (field_capacity_m3_m3 - wilting_point_m3_m3) * root_depth_m


def raw_mm(taw_mm: float, p: float) -> float:
    """Readily available water: what can be used before stress begins.

    Args:
        taw_mm: total available water [mm].
        p: depletion fraction [-], 0…1.

    Returns:
        RAW [mm].

    Source: FAO-56 eq. 83.
    """
    return p * taw_mm


def depletion_at_mm(field_capacity_m3_m3: float, theta_m3_m3: float, root_depth_m: float) -> float:
    """Depletion of a root zone of known water content.

    Args:
        field_capacity_m3_m3: [m3/m3].
        theta_m3_m3: mean water content over the root zone [m3/m3].
        root_depth_m: [m].

    Returns:
        Dr [mm]; below 0 where the soil holds more than field capacity.

    Source: FAO-56 eq. 87.
    """
    return MM_PER_M * (field_capacity_m3_m3 - theta_m3_m3) * root_depth_m


def ks(depletion_mm: float, taw_mm: float, p: float) -> float:
    """Stress factor: the share of their full use that plants can still draw.

    Args:
        depletion_mm: Dr at the start of the step [mm].
        taw_mm: total available water [mm].
        p: depletion fraction [-], 0…1.

    Returns:
        Ks [-], 0…1: 1 down to RAW, then falling straight to 0 at TAW; 0 where an input is NaN.

    Source: FAO-56 eq. 84.
    """
    if depletion_mm <= p * taw_mm:
        return 1.0
    stressed_mm = (1.0 - p) * taw_mm
    left_mm = taw_mm - depletion_mm
    if left_mm > 0.0 and stressed_mm > 0.0:
        return min(1.0, left_mm / stressed_mm)
    return 0.0


def fill(depletion_mm: float, water_mm: float) -> tuple[float, float]:
    """Let water in, and what goes over field capacity out below.

    Args:
        depletion_mm: Dr before [mm], 0 or more.
        water_mm: rain that reached the soil and irrigation [mm], 0 or more.

    Returns:
        Depletion after [mm], 0 or more, and water drained [mm].

    Source: FAO-56 eq. 85 and 88 in the order said at the top; eq. 79 for the surface.
    """
    if water_mm > depletion_mm:
        return 0.0, water_mm - depletion_mm
    return depletion_mm - water_mm, 0.0


def draw(depletion_mm: float, use_mm: float, taw_mm: float) -> tuple[float, float]:
    """Take a step's use out, no further than to the wilting point.

    Args:
        depletion_mm: Dr before [mm].
        use_mm: use asked for [mm], 0 or more.
        taw_mm: total available water [mm].

    Returns:
        Depletion after [mm], and the use that the soil could give [mm].

    Source: FAO-56 eq. 85 with the upper bound of eq. 86.
    """
    given_mm = min(use_mm, max(0.0, taw_mm - depletion_mm))
    return depletion_mm + given_mm, given_mm


def day_balance(
    depletion_mm: float, water_mm: float, etc_mm: float, taw_mm: float, p: float
) -> tuple[float, float, float]:
    """One step of the whole balance in its physical order, use reduced by stress.

    Args:
        depletion_mm: Dr at the start [mm].
        water_mm: water that reached the soil early in the step [mm].
        etc_mm: use of unstressed plants in the step [mm].
        taw_mm: total available water [mm].
        p: depletion fraction [-].

    Returns:
        Depletion at the end, use and drainage, all [mm].

    Source: FAO-56 eq. 81 and 84 to 86.
    """
    after_mm, drained_mm = fill(depletion_mm, water_mm)
    use_mm = ks(after_mm, taw_mm, p) * etc_mm
    end_mm, used_mm = draw(after_mm, use_mm, taw_mm)
    return end_mm, used_mm, drained_mm


def deepen(
    depletion_mm: float, sub_depletion_frac: float, available_m3_m3: float, deeper_m: float
) -> float:
    """Depletion once the roots have grown into the soil below.

    Args:
        depletion_mm: Dr before [mm].
        sub_depletion_frac: how empty the soil below is [-], 0 at field capacity, 1 at wilting.
        available_m3_m3: field capacity less wilting point [m3/m3].
        deeper_m: by how much the root zone grew [m], 0 or more.

    Returns:
        Dr over the new depth [mm].

    Source: FAO-56 ch. 8, from eq. 87.
    """
    return depletion_mm + MM_PER_M * sub_depletion_frac * available_m3_m3 * deeper_m


def kc_max(
    kcb: float,
    *,
    wind_m_s: float = 2.0,
    rh_min_pct: float = 45.0,
    height_m: float = 0.6,
    base: float = KC_MAX_BASE,
) -> float:
    """Greatest coefficient that the energy at hand allows; does not hold for plots below 0.2 ha.

    Args:
        kcb: basal coefficient [-].
        wind_m_s: at 2 m [m/s], clipped to 1…6.
        rh_min_pct: lowest relative humidity of the day [%], clipped to 20…80.
        height_m: of the crop [m], clipped to 0.1…10.
        base: 1.2; 1.1 where the soil is wetted more often than each third day [-].

    Returns:
        Kc max [-].

    Source: FAO-56 eq. 72.
    """
    climate = climate_term(wind_m_s=wind_m_s, rh_min_pct=rh_min_pct, height_m=height_m)
    return max(base + climate, kcb + KC_MAX_OVER_KCB)


def canopy_cover_frac(
    kcb: float, kc_max: float, height_m: float, kc_bare: float = BARE_KC
) -> float:
    """Share of the ground that the canopy covers, from the coefficient.

    Args:
        kcb: basal coefficient [-].
        kc_max: greatest coefficient [-], above `kc_bare`.
        height_m: of the crop [m], 0…10.
        kc_bare: Kc min of dry bare soil [-].

    Returns:
        fc [-], 0…0.99.

    Source: FAO-56 eq. 76.
    """
    span = kc_max - kc_bare
    share = (kcb - kc_bare) / span if span > 0.0 else 0.0
    if not share > 0.0:
        return 0.0
    return min(0.99, float(min(1.0, share) ** (1.0 + 0.5 * height_m)))


def shaded_wetted_frac(wetted_frac: float, cover_frac: float) -> float:
    """Wetted share of the ground that counts where emitters stand below the canopy.

    Args:
        wetted_frac: fw [-], 0…1: drip 0.3-0.4 (FAO-56 table 20).
        cover_frac: fc [-], 0…1.

    Returns:
        fw [-] as the sun sees it.

    Source: FAO-56 ch. 7, after eq. 75.
    """
    return wetted_frac * (1.0 - CANOPY_SHADE_FRAC * cover_frac)


def exposed_wetted_frac(cover_frac: float, wetted_frac: float) -> float:
    """Share of the ground from which most evaporation comes.

    Args:
        cover_frac: fc [-], 0…1.
        wetted_frac: fw [-], 0…1.

    Returns:
        few [-].

    Source: FAO-56 eq. 75.
    """
    return min(1.0 - cover_frac, wetted_frac)


def tew_mm(
    field_capacity_m3_m3: float, wilting_point_m3_m3: float, surface_m: float = SURFACE_M
) -> float:
    """Total evaporable water of the surface layer.

    Args:
        field_capacity_m3_m3: [m3/m3].
        wilting_point_m3_m3: [m3/m3].
        surface_m: Ze [m], 0.10…0.15.

    Returns:
        TEW [mm].

    Source: FAO-56 eq. 73.
    """
    return MM_PER_M * (field_capacity_m3_m3 - 0.5 * wilting_point_m3_m3) * surface_m


def evaporation_reduction(de_mm: float, tew_mm: float, rew_mm: float) -> float:
    """How far a drying surface holds evaporation back.

    Args:
        de_mm: water lost from the surface layer since it was wet [mm].
        tew_mm: total evaporable water [mm].
        rew_mm: readily evaporable water [mm], below TEW.

    Returns:
        Kr [-], 0…1; 0 where an input is NaN.

    Source: FAO-56 eq. 74.
    """
    if de_mm <= rew_mm:
        return 1.0
    left_mm, slow_mm = tew_mm - de_mm, tew_mm - rew_mm
    return min(1.0, left_mm / slow_mm) if left_mm > 0.0 and slow_mm > 0.0 else 0.0


def ke(kr: float, kc_max: float, kcb: float, exposed_frac: float) -> float:
    """Coefficient of evaporation from the soil.

    Args:
        kr: reduction [-], 0…1.
        kc_max: greatest coefficient [-].
        kcb: basal coefficient [-].
        exposed_frac: few [-], 0…1.

    Returns:
        Ke [-], 0 or more.

    Source: FAO-56 eq. 71.
    """
    return max(0.0, min(kr * (kc_max - kcb), exposed_frac * kc_max))


def surface_dried_mm(
    de_mm: float, evaporation_mm: float, exposed_frac: float, tew_mm: float
) -> float:
    """Depletion of the surface layer after a step's evaporation; wetting is `fill`.

    Args:
        de_mm: De after wetting [mm].
        evaporation_mm: Ke ETo of the step, over all the ground [mm].
        exposed_frac: few [-], the part that it came from.
        tew_mm: total evaporable water [mm].

    Returns:
        De [mm], 0…TEW.

    Source: FAO-56 eq. 77 and 78.
    """
    lost_mm = evaporation_mm / exposed_frac if exposed_frac > 0.0 else 0.0
    return min(tew_mm, max(0.0, de_mm + lost_mm))


def sparse_kcb(kcb: float, cover_frac: float, dense_cover_frac: float = DENSE_COVER_FRAC) -> float:
    """Basal coefficient of plants that were pruned or stand wide.

    Args:
        kcb: of a full stand [-].
        cover_frac: fc as seen [-], 0…1.
        dense_cover_frac: fc of a full stand [-].

    Returns:
        Kcb [-], 0 or more.

    Source: FAO-56 eq. 94 and 95.
    """
    if not 0.0 <= cover_frac < dense_cover_frac:
        return kcb
    return max(0.0, kcb - (1.0 - sqrt(cover_frac / dense_cover_frac)))


def effective_rain_mm(
    rain_mm: float,
    eto_mm: float,
    sheet_frac: float = 0.0,
    side_frac: float = SIDE_SHARE_FRAC,
    kept_mm: float = 0.0,
) -> float:
    """Rain of a day that reaches the soil of a bed partly under a sheet, or under straw.

    Args:
        rain_mm: rain over the day [mm].
        eto_mm: reference evapotranspiration of the day [mm].
        sheet_frac: share of the bed under plastic [-], 0 without.
        side_frac: share of the sheet's runoff that reaches the bed's edge [-].
        kept_mm: what a mulch keeps [mm]: straw the first 1-2 mm (common practice, no source).

    Returns:
        Rain that counts [mm]; what exceeds the depletion drains by `fill`.

    Source: FAO-56 ch. 8 for the 0.2 ETo; the sheet is our own proposal.
    """
    wet_mm = rain_mm - max(RAIN_IGNORED_ETO * eto_mm, kept_mm)
    if not wet_mm > 0.0:
        return 0.0
    return wet_mm * (1.0 - sheet_frac) + wet_mm * sheet_frac * side_frac


def relative_yield(ky: float, use_share_frac: float) -> float:
    """Yield against that of plants that never lacked water; meant for deficits up to a half.

    Args:
        ky: yield response factor [-]; season: tomato 1.05 (FAO-56 table 24).
        use_share_frac: actual over full use of water [-], 0…1.

    Returns:
        Ya/Ym [-], 0…1.

    Source: FAO-56 eq. 90.
    """
    return max(0.0, min(1.0, 1.0 - ky * (1.0 - use_share_frac)))
