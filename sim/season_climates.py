"""The climates of the invented seasons, as `sim.season_fit.fit` gives them, rounded to 0.01.

A test fits them anew from the files. `SEATTLE`: daily rain, temperature and wind of 2012 to 2015
(`vega-datasets`, US government data): dry summers, wet winters. `DENMARK`: daily rain and mean
temperature of 1998 to 2018 (`edcrop`, MIT): rain all year; its daily range is the one that
`sim.season_denmark` finds for the published reference ET, its wind that of FAO-56 chapter 3.
"""

from __future__ import annotations

from sim.season_fit import Climate

SEATTLE = Climate(
    wet_after_dry_frac=(0.32, 0.46, 0.37, 0.43, 0.14, 0.23, 0.08, 0.12, 0.21, 0.27, 0.35, 0.39),
    wet_after_wet_frac=(0.73, 0.74, 0.74, 0.55, 0.62, 0.49, 0.17, 0.48, 0.49, 0.74, 0.75, 0.78),
    wet_day_mm=(7.06, 5.78, 8.3, 6.36, 6.1, 3.59, 4.38, 7.44, 6.73, 8.25, 9.05, 7.69),
    rain_spread_frac=1.22,
    mean_c=(5.46, 6.96, 8.62, 10.69, 14.46, 17.32, 20.1, 20.44, 17.14, 12.87, 7.86, 5.76),
    wet_warmer_c=(1.57, 1.09, -0.3, -1.75, -2.85, -2.32, -3.16, -0.72, -1.38, -0.2, 3.26, 2.96),
    spread_c=(3.06, 2.82, 2.74, 2.15, 2.51, 2.87, 2.53, 2.25, 2.55, 2.48, 2.86, 3.0),
    kept_frac=0.68,
    range_dry_c=(6.37, 7.58, 9.63, 10.67, 11.03, 11.4, 12.11, 11.98, 10.93, 8.39, 7.83, 5.74),
    range_wet_c=(4.8, 4.83, 6.06, 6.58, 6.11, 7.36, 8.58, 8.37, 6.24, 5.64, 5.28, 4.41),
    range_spread_frac=(0.4, 0.33, 0.34, 0.3, 0.31, 0.27, 0.28, 0.29, 0.32, 0.41, 0.31, 0.38),
    wind_m_s=(2.35, 2.83, 2.68, 2.64, 2.33, 2.34, 2.18, 2.06, 2.22, 2.2, 2.6, 2.71),
)
DENMARK = Climate(
    wet_after_dry_frac=(0.42, 0.35, 0.31, 0.25, 0.24, 0.3, 0.35, 0.38, 0.3, 0.4, 0.48, 0.39),
    wet_after_wet_frac=(0.79, 0.76, 0.71, 0.72, 0.72, 0.7, 0.71, 0.76, 0.76, 0.8, 0.81, 0.82),
    wet_day_mm=(4.2, 3.72, 3.8, 3.38, 3.9, 4.98, 5.02, 5.3, 4.93, 4.62, 3.7, 4.27),
    rain_spread_frac=1.25,
    mean_c=(1.7, 1.59, 3.5, 7.58, 11.89, 14.52, 16.97, 16.65, 13.97, 9.8, 5.76, 2.97),
    wet_warmer_c=(3.23, 1.98, 0.35, -1.18, -1.24, -1.13, -1.73, -1.49, -1.2, 0.67, 1.5, 2.7),
    spread_c=(3.26, 3.29, 3.14, 2.8, 2.85, 2.53, 2.52, 2.26, 2.25, 2.84, 3.21, 3.59),
    kept_frac=0.77,
    range_dry_c=(4.4, 6.33, 10.76, 13.33, 14.34, 12.74, 12.43, 11.19, 10.22, 8.01, 4.79, 3.21),
    range_wet_c=(2.71, 4.64, 6.49, 7.39, 8.18, 7.94, 7.67, 7.79, 7.14, 5.66, 3.49, 2.5),
    range_spread_frac=(0.88, 0.82, 0.67, 0.54, 0.49, 0.51, 0.47, 0.48, 0.55, 0.7, 0.83, 0.84),
    wind_m_s=(2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 2.0),
)
