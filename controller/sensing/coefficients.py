"""A bed's dual crop coefficient for one day, as `controller.agronomy.dual` has it.

The season's curve runs between values that are fitted first: the table's to the climate of the last
weeks, then to a stand that covers less than the full ground, then to plastic, in this order
(FAO-56 eq. 70, 94, 95, table 25). The cover of the day follows from Kcb (eq. 76); it shades the wet
strip under the drip lines.
"""

from __future__ import annotations

from dataclasses import replace

from controller.agronomy.crop import Crop, kcb_of
from controller.agronomy.dual import DualKc, dual_kc, kcb_of_bed
from controller.garden import Bed
from controller.sensing.climate import Climate

DRIP_WETS_FRAC = 0.35  # fw, FAO-56 table 20
STAKED_HEIGHT_M = 1.75  # FAO-56 table 17, footnote: 1.5-2 m tall; the middle


def staked(bed: Bed) -> bool:
    """Whether a bed's plants are grown up stakes or strings."""
    return bed.habit == "indeterminate"


def height_m(bed: Bed, crop: Crop) -> float:
    """Height of the grown crop [m]; the table's, but for plants up stakes."""
    tall = staked(bed) and crop.kcb_mid_staked is not None
    return STAKED_HEIGHT_M if tall else crop.height_m


def fitted(bed: Bed, crop: Crop, climate: Climate) -> Crop:
    """The crop with the coefficients that its season has in this bed and climate.

    Args:
        bed: from the garden file; for its mulch, its habit and the cover that was seen.
        crop: of the table.
        climate: of the last weeks.

    Returns:
        The crop; coefficients of young plants are fitted to plastic only.
    """
    tall_m = height_m(bed, crop)

    def fit(kcb_tab: float) -> float:
        return kcb_of_bed(
            kcb_tab,
            wind_m_s=climate.wind_m_s,
            rh_min_pct=climate.rh_min_pct,
            height_m=tall_m,
            seen_cover_frac=bed.cover_frac,
            mulch=bed.mulch,
        )

    mid_up, end_up = crop.kcb_mid_staked, crop.kcb_end_staked
    return replace(
        crop,
        kcb_ini=kcb_of_bed(crop.kcb_ini, height_m=tall_m, mulch=bed.mulch),
        kcb_mid=fit(crop.kcb_mid),
        kcb_end=fit(crop.kcb_end),
        kcb_mid_staked=None if mid_up is None else fit(mid_up),
        kcb_end_staked=None if end_up is None else fit(end_up),
    )


def coefficients(bed: Bed, crop: Crop, degree_days: float, climate: Climate) -> DualKc:
    """The day's coefficients, the surface wet.

    Args:
        bed: from the garden file.
        crop: as `fitted`.
        degree_days: since transplanting [°C d].
        climate: of the last weeks.

    Returns:
        Kcb, Kc max, the cover and the exposed wet share [-]. What a mulch and a drying surface
        leave of the evaporation comes later, step by step.
    """
    return dual_kc(
        kcb_of(crop, degree_days, staked(bed)),
        kr=1.0,
        wetted_frac=DRIP_WETS_FRAC,
        drip_under_canopy=True,
        wind_m_s=climate.wind_m_s,
        rh_min_pct=climate.rh_min_pct,
        height_m=height_m(bed, crop),
    )
