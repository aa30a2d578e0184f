"""The dual crop coefficient of one bed: drip, mulch, sparse stand and climate, in one order.

ETc = (Ks Kcb + Ke) ETo. Kcb begins from the table or the season's curve and is fitted to the
climate (stage means), to a sparse stand, and to plastic, in this order; Ke follows from what the
wetted, unshaded, uncovered ground can give. All depths are mm over the whole ground; water of drip
over the wetted strip is I/fw, and mixing the two is the commonest slip.

Source: FAO-56 ch. 7 (eq. 71 to 76, 80), ch. 9 (eq. 94 to 97), ch. 10 (table 25, mulches).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp
from types import MappingProxyType

from controller.agronomy.crop import kcb_climate_adjusted
from controller.agronomy.rootzone import (
    BARE_KC,
    DENSE_COVER_FRAC,
    KC_MAX_BASE,
    canopy_cover_frac,
    exposed_wetted_frac,
    ke,
    shaded_wetted_frac,
    sparse_kcb,
)
from controller.agronomy.rootzone import kc_max as greatest_kc

LEAF_EXTINCTION = 0.7  # FAO-56 eq. 97
OFTEN_WETTED_BASE = 1.1  # FAO-56 ch. 7: in place of 1.2 where watered more often than this:
OFTEN_WETTED_D = 3.0  # [d] FAO-56 ch. 7: every 3-4 days
ORGANIC_LESS_PER_COVER = 0.5  # evaporation falls 5 % for each 10 % of ground under straw: ch. 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """What lies on the ground: shares of the bare soil's evaporation and of Kcb that are left."""

    evaporation_share_frac: float
    kcb_share_frac: float


COVERS: Mapping[str, Cover] = MappingProxyType(
    {
        "none": Cover(evaporation_share_frac=1.0, kcb_share_frac=1.0),
        # the whole ground under straw: 5 % less for each 10 %; Kcb as it was: FAO-56 ch. 10
        "straw": Cover(evaporation_share_frac=0.5, kcb_share_frac=1.0),
        # evaporation 50-80 % and Kcb 5-15 % less, the middles: FAO-56 table 25
        "plastic": Cover(evaporation_share_frac=0.35, kcb_share_frac=0.90),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DualKc:
    """One day's coefficients [-]; Kc = Kcb + Ke without stress."""

    kcb: float
    ke: float
    kc_max: float
    cover_frac: float
    exposed_frac: float


def straw_evaporation_share_frac(covered_frac: float) -> float:
    """Share of the bare soil's evaporation that is left under straw or another loose mulch.

    Args:
        covered_frac: share of the ground under it [-], clipped to 0…1.

    Returns:
        Share [-], 0.5…1.

    Source: FAO-56 ch. 10: about 5 % less for each 10 % of ground that is covered.
    """
    return 1.0 - ORGANIC_LESS_PER_COVER * max(0.0, min(1.0, covered_frac))


def kcb_of_leaf_area(kcb_full: float, leaf_area_m2_m2: float, kc_bare: float = BARE_KC) -> float:
    """Basal coefficient of a stand whose leaf area is known.

    Args:
        kcb_full: of a full stand [-].
        leaf_area_m2_m2: LAI [m2/m2], 0 or more.
        kc_bare: Kc min of dry bare soil [-], 0.15…0.20.

    Returns:
        Kcb [-], `kc_bare`…`kcb_full`; `kc_bare` where the leaf area is not a number.

    Source: FAO-56 eq. 97.
    """
    leaves = leaf_area_m2_m2 if leaf_area_m2_m2 > 0.0 else 0.0
    return kc_bare + (kcb_full - kc_bare) * (1.0 - exp(-LEAF_EXTINCTION * leaves))


def kcb_of_bed(
    kcb_tab: float,
    *,
    wind_m_s: float = 2.0,
    rh_min_pct: float = 45.0,
    height_m: float,
    seen_cover_frac: float | None = None,
    dense_cover_frac: float = DENSE_COVER_FRAC,
    mulch: str = "none",
) -> float:
    """Basal coefficient of a bed: of the table, then climate, then sparse stand, then mulch.

    Args:
        kcb_tab: of the table or of the season's curve [-].
        wind_m_s: stage mean at 2 m [m/s], clipped to 1…6.
        rh_min_pct: stage mean of the lowest relative humidity [%], clipped to 20…80.
        height_m: of the crop [m], clipped to 0.1…10.
        seen_cover_frac: ground covered by leaves as seen at noon [-], None: a full stand.
        dense_cover_frac: that of a full stand [-].
        mulch: "none", "straw" or "plastic".

    Returns:
        Kcb [-], 0 or more.

    Source: FAO-56 eq. 70, eq. 94 and 95, table 25.
    """
    kcb = kcb_climate_adjusted(kcb_tab, wind_m_s=wind_m_s, rh_min_pct=rh_min_pct, height_m=height_m)
    if seen_cover_frac is not None:
        kcb = sparse_kcb(kcb, seen_cover_frac, dense_cover_frac)
    return kcb * COVERS[mulch].kcb_share_frac


def kc_max_base(days_between_waterings: float) -> float:
    """The base of Kc max for how often the soil is wetted.

    Args:
        days_between_waterings: [d], above 0.

    Returns:
        1.2, or 1.1 where water comes more often than every third day [-].

    Source: FAO-56 ch. 7, below eq. 72.
    """
    return OFTEN_WETTED_BASE if days_between_waterings < OFTEN_WETTED_D else KC_MAX_BASE


def dual_kc(
    kcb: float,
    *,
    kr: float,
    wetted_frac: float,
    drip_under_canopy: bool,
    wind_m_s: float = 2.0,
    rh_min_pct: float = 45.0,
    height_m: float,
    base: float = KC_MAX_BASE,
    seen_cover_frac: float | None = None,
    mulch: str = "none",
) -> DualKc:
    """A day's two coefficients from the finished Kcb and the state of the surface.

    Args:
        kcb: of `kcb_of_bed` [-].
        kr: how far the surface holds evaporation back [-], 0…1 (`rootzone.evaporation_reduction`).
        wetted_frac: fw [-]: rain 1, drip 0.3-0.4 (FAO-56 table 20).
        drip_under_canopy: whether the wet spots stand in the shade of the leaves.
        wind_m_s: at 2 m [m/s], clipped to 1…6.
        rh_min_pct: lowest relative humidity [%], clipped to 20…80.
        height_m: of the crop [m], clipped to 0.1…10.
        base: of Kc max [-], `kc_max_base`.
        seen_cover_frac: ground covered by leaves [-], None: from Kcb by eq. 76.
        mulch: "none", "straw" or "plastic".

    Returns:
        The coefficients [-], each 0 or more.

    Source: FAO-56 eq. 71, 72, 75, 76 and, for drip, ch. 7 after eq. 75; table 25 for plastic.
    """
    most = greatest_kc(kcb, wind_m_s=wind_m_s, rh_min_pct=rh_min_pct, height_m=height_m, base=base)
    cover = canopy_cover_frac(kcb, most, height_m) if seen_cover_frac is None else seen_cover_frac
    wet = shaded_wetted_frac(wetted_frac, cover) if drip_under_canopy else wetted_frac
    exposed = exposed_wetted_frac(cover, wet)
    evaporation = ke(kr, most, kcb, exposed) * COVERS[mulch].evaporation_share_frac
    return DualKc(kcb=kcb, ke=evaporation, kc_max=most, cover_frac=cover, exposed_frac=exposed)


def etc_mm_d(kc: DualKc, ks: float, eto_mm_d: float) -> float:
    """A day's use of plants and soil together.

    Args:
        kc: the day's coefficients.
        ks: stress factor [-], 0…1.
        eto_mm_d: reference evapotranspiration [mm/d], 0 or more.

    Returns:
        ETc adj [mm/d] over the whole ground.

    Source: FAO-56 eq. 80.
    """
    return (ks * kc.kcb + kc.ke) * eto_mm_d
