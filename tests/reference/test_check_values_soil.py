"""Soil, root zone and drip, quantity by quantity: every published number, one row each.

A row is: case, quantity, what we make of the case's inputs, the number, its tolerance, its source.
Tolerances of printed numbers are the rounding in print; `full` rows were worked out in full from
the printed equations, apart from this code. The day-by-day examples 35, 37 and 38 of FAO-56 stand
in `test_fao56_rootzone`, resistance to tension in `test_granular_matrix`; how near the simulated
soil comes to the closed forms of here, in `test_sim_green_ampt` and its neighbours.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

import pytest

from controller.agronomy import drip, infiltration, rootzone, soil
from tests.printed import assert_ours

Curve = Callable[[float], float]
Row = tuple[str, Callable[[], float], float, float]  # quantity, ours, number, tolerance


# -- texture: sand, clay; then wilting point, field capacity, saturation, Ks as printed, and in full
SAXTON_RAWLS = {
    "sandy-loam": (0.65, 0.10, (0.08, 0.18, 0.45, 50.3), (0.080770, 0.179168, 50.304555, 4.790578)),
    "loam": (0.40, 0.20, (0.14, 0.28, 0.46, 15.5), (0.137024, 0.279610, 15.475656, 5.351208)),
    "silt-loam": (0.20, 0.15, (0.11, 0.31, 0.48, 16.1), (0.109863, 0.305183, 16.120217, 3.735736)),
    "clay-loam": (0.30, 0.35, (0.22, 0.36, 0.48, 4.3), (0.217992, 0.357898, 4.323838, 7.698261)),
    "sand": (0.88, 0.05, (0.05, 0.10, 0.46, 108.1), (0.050221, 0.102828, 108.147828, 5.325903)),
    "clay": (0.25, 0.50, (0.30, 0.42, 0.50, 1.1), (0.297917, 0.420631, 1.144958, 11.064909)),
}
TEXTURE_SOURCE = "Saxton & Rawls 2006 table 3 and eq. 1 to 18, organic matter 2.5 %, from memory"


def texture_rows(name: str) -> list[Row]:
    sand, clay, printed, full = SAXTON_RAWLS[name]
    ours = soil.saxton_rawls(sand, clay, 2.5)
    dry, wet, top, ks = printed
    return [
        ("wilting-point", lambda: ours.wilting_point_m3_m3, dry, 0.006),
        ("field-capacity", lambda: ours.field_capacity_m3_m3, wet, 0.006),
        ("saturation", lambda: ours.saturation_m3_m3, top, 0.006),
        ("ks", lambda: ours.ks_mm_h, ks, 0.06),
        ("wilting-point-full", lambda: ours.wilting_point_m3_m3, full[0], 1e-5),
        ("field-capacity-full", lambda: ours.field_capacity_m3_m3, full[1], 1e-5),
        ("ks-full", lambda: ours.ks_mm_h, full[2], 1e-3),
        ("b-full", lambda: ours.b, full[3], 1e-3),
    ]


# -- van Genuchten: content at 10, 33, 100 and 1500 kPa, K at 100 cm
VAN_GENUCHTEN = {
    "loam": (0.240556, 0.164446, 0.124741, 0.088272, 0.03392252),
    "sandy loam": (0.120865, 0.084477, 0.072268, 0.065653, 0.00455157),
    "clay loam": (0.331155, 0.268725, 0.220076, 0.149277, 0.035843),
}


def curve_rows(name: str) -> list[Row]:
    curve, told = soil.CARSEL_PARRISH[name], VAN_GENUCHTEN[name]
    theta = partial(soil.van_genuchten_theta_m3_m3, curve)

    def back() -> float:
        return soil.van_genuchten_tension_kpa(curve, theta(33.0))

    rows: list[Row] = [
        (f"theta-{kpa}-kpa", partial(theta, float(kpa)), number, 1e-5)
        for kpa, number in zip((10, 33, 100, 1500), told[:4], strict=True)
    ]
    k = partial(soil.van_genuchten_conductivity_cm_d, curve, 100.0 / 10.19716)
    return [*rows, ("back-to-33-kpa", back, 33.0, 1e-6), ("k-100-cm", k, told[4], 1e-6)]


# -- root zone
def evaporation_rows(wetted: float | None, few: float, ke: float, kc: float) -> list[Row]:
    """FAO-56 examples 32 and 34: Kcb 0.9, 3 m/s, 20 %, 1 m."""
    kc_max = rootzone.kc_max(0.9, wind_m_s=3.0, rh_min_pct=20.0, height_m=1.0)
    cover = rootzone.canopy_cover_frac(0.9, kc_max, 1.0, 0.15)
    seen = 1.0 if wetted is None else rootzone.shaded_wetted_frac(wetted, cover)
    exposed = rootzone.exposed_wetted_frac(cover, seen)
    found = rootzone.ke(1.0, kc_max, 0.9, exposed)
    off = 0.005 if wetted is None else 0.006  # drip's steps are carried on rounded
    return [
        ("kc-max", lambda: kc_max, 1.30, 0.005),
        ("fc", lambda: cover, 0.53, 0.005),
        ("few", lambda: exposed, few, off),
        ("ke", lambda: found, ke, off),
        ("kc", lambda: 0.9 + found, kc, off),
    ]


def few_in_full() -> float:
    kc_max = rootzone.kc_max(0.9, wind_m_s=3.0, rh_min_pct=20.0, height_m=1.0)
    cover = rootzone.canopy_cover_frac(0.9, kc_max, 1.0, 0.15)
    return rootzone.exposed_wetted_frac(cover, rootzone.shaded_wetted_frac(0.3, cover))


def taw(full: float, dry: float) -> float:
    return rootzone.taw_mm(full, dry, 0.8)


TOMATO_ROWS: list[Row] = [
    ("taw-loamy-sand", lambda: taw(0.15, 0.06), 72.0, 0.5),
    ("raw-loamy-sand", lambda: rootzone.raw_mm(taw(0.15, 0.06), 0.4), 29.0, 0.5),
    ("taw-silt", lambda: taw(0.32, 0.15), 136.0, 0.5),
    ("raw-silt", lambda: rootzone.raw_mm(taw(0.32, 0.15), 0.4), 54.0, 0.5),
    ("taw-silty-clay", lambda: taw(0.35, 0.23), 96.0, 0.5),
    ("raw-silty-clay", lambda: rootzone.raw_mm(taw(0.35, 0.23), 0.4), 38.0, 0.5),
]

# -- water into the soil: the silt loam of Chow, Maidment & Mays, 0.65 cm/h, 16.7 cm, 0.34
SILT_LOAM = (6.5, 167.0, 0.34)  # mm/h, mm, m3/m3


def taken_cm(hours: float) -> float:
    return infiltration.green_ampt_mm(hours, *SILT_LOAM) / 10.0


def rate_cm_h() -> float:
    return infiltration.green_ampt_rate_mm_h(10.0 * taken_cm(1.0), *SILT_LOAM) / 10.0


def ponding_h() -> float:
    return infiltration.ponding_h(50.0, 6.5, 56.78, 1.0)  # suction x room 5.678 cm


def philip_cm(hours: float) -> float:
    sorptivity = infiltration.sorptivity_mm_per_root_h(*SILT_LOAM)
    return infiltration.philip_mm(hours, sorptivity, 6.5) / 10.0


PHILIP_ROWS: list[Row] = [
    ("s", lambda: infiltration.sorptivity_mm_per_root_h(*SILT_LOAM) / 10.0, 2.716873, 1e-5),
    ("green-ampt-at-0.01-h", lambda: taken_cm(0.01), 0.276038, 1e-5),
    ("two-terms-at-0.01-h", lambda: philip_cm(0.01), 0.276021, 1e-5),
    ("off-at-0.01-h-pct", lambda: 100.0 * (philip_cm(0.01) / taken_cm(0.01) - 1.0), 0.0, 0.01),
    ("off-at-1-h-pct", lambda: 100.0 * (philip_cm(1.0) / taken_cm(1.0) - 1.0), -0.5, 0.05),
    ("off-at-10-h-pct", lambda: 100.0 * (philip_cm(10.0) / taken_cm(10.0) - 1.0), -3.4, 0.05),
]
GARDNER = {
    1.5: (3.77, 3.760902),
    2.0: (2.46, 2.467401),
    3.0: (1.76, 1.768048),
    4.0: (1.52, 1.522017),
}


def gardner_rows() -> list[Row]:
    rows: list[Row] = []
    for n, (printed, full) in GARDNER.items():
        ours = partial(infiltration.gardner_coefficient, n)
        rows += [(f"n-{n:g}", ours, printed, 0.011), (f"n-{n:g}-full", ours, full, 1e-5)]
    return rows


LOAM = replace(soil.soil_class("loam"), saturation_m3_m3=0.4595, ks_mm_h=15.4757, b=5.3512)
DRAINED = {0.5: 0.365806, 1.0: 0.347144, 2.0: 0.329079, 5.0: 0.306386}


def drained(days: float) -> float:
    return infiltration.drained_theta_m3_m3(LOAM, 0.4595, 0.3, 24.0 * days)


# -- drip
FLOWS_L_H = (
    1.95, 2.02, 2.05, 1.88, 2.10, 1.92, 2.00, 1.80, 2.04, 1.97, 2.08, 1.70, 2.01, 1.99, 1.93, 2.06,
)  # fmt: skip


def pond_cm(ks_cm_d: float, alpha_per_cm: float) -> float:
    return 100.0 * drip.pond_radius_m(2.0, ks_cm_d * 10.0 / 24.0, 0.01 / alpha_per_cm)


FAO56_7, FAO56_8 = "FAO-56 ch. 7 ", "FAO-56 ch. 8 "
VG_SOURCE = "van Genuchten 1980, class means of Carsel & Parrish 1988; worked by another library"
SHARP = "Chow, Maidment & Mays 1988, "
CASES: dict[str, tuple[str, list[Row]]] = {
    **{f"saxton-rawls-{name}": (TEXTURE_SOURCE, texture_rows(name)) for name in SAXTON_RAWLS},
    "vg-loam": (VG_SOURCE, curve_rows("loam")),
    "vg-sandy-loam": (VG_SOURCE, curve_rows("sandy loam")),
    "vg-clay-loam": (VG_SOURCE, curve_rows("clay loam")),
    "fao56-ex32-sprinkler": (
        FAO56_7 + "example 32, eq. 71, 72, 75, 76",
        evaporation_rows(None, 0.47, 0.40, 1.30),
    ),
    "fao56-ex34-drip": (
        FAO56_7 + "example 34, fw (1 - 2/3 fc)",
        [*evaporation_rows(0.3, 0.19, 0.25, 1.15), ("few-full", few_in_full, 0.194759, 1e-5)],
    ),
    "fao56-ex36-tomato": (FAO56_8 + "example 36, eq. 82, 83", TOMATO_ROWS),
    "ky-tomato-season": (
        "FAO-56 eq. 90, table 24",
        [("loss", lambda: 1.0 - rootzone.relative_yield(1.05, 0.9), 0.105, 1e-9)],
    ),
    "leaching-requirement": (
        FAO56_8 + "eq. 93 and the formula of FAO-29 beside it",
        [
            ("salt-ratio", lambda: drip.soil_salt_ratio(0.15), 1.533333, 1e-6),
            ("lr", lambda: drip.leaching_requirement_frac(1.0, 2.5), 0.086957, 1e-6),
        ],
    ),
    "green-ampt-silt-loam": (
        SHARP + "example 4.3.1, from memory",
        [
            ("f-1-h", lambda: taken_cm(1.0), 3.17, 0.01),
            ("rate-1-h", rate_cm_h, 1.81, 0.01),
            ("f-1-h-full", lambda: taken_cm(1.0), 3.166419, 1e-5),
            ("rate-1-h-full", rate_cm_h, 1.815575, 1e-5),
        ],
    ),
    "green-ampt-ponding": (
        SHARP + "example 4.4.1, numbering from memory",
        [("tp", ponding_h, 0.17, 0.005), ("fp", lambda: 5.0 * ponding_h(), 0.85, 0.005)],
    ),
    "philip-early-time": ("Philip 1957, S = sqrt(2 K psi dtheta)", PHILIP_ROWS),
    "gardner-max-evaporation": ("Gardner 1958, from memory; closed form", gardner_rows()),
    "drainage-closed-form": (
        "d theta/dt = -K/Z with Saxton & Rawls 2006 eq. 17, integrated apart",
        [(f"{days:g}-d", partial(drained, days), told, 1e-5) for days, told in DRAINED.items()],
    ),
    "wetted-bulb": (
        "Schwartzman & Zur 1986, from memory; two unit forms 0.1 and 1.4 % apart",
        [
            ("depth", lambda: drip.bulb_depth_m(8.0, 2.0, 36.0), 0.4455, 0.001),
            ("width", lambda: drip.bulb_width_m(8.0, 2.0, 36.0), 0.3901, 0.006),
            ("width-of-this-form", lambda: drip.bulb_width_m(8.0, 2.0, 36.0), 0.390137, 1e-5),
            ("depth-back", lambda: drip.bulb_litres(0.445519, 2.0, 36.0), 8.0, 1e-4),
        ],
    ),
    "pond-radius": (
        "Wooding 1968, q = Ks (pi r2 + 4 r/alpha); whole cm: class means of Carsel & Parrish",
        [
            ("loam", lambda: pond_cm(24.96, 0.036), 12.7275, 0.001),
            ("sandy-loam", lambda: pond_cm(106.1, 0.075), 6.0, 0.5),
            ("clay-loam", lambda: pond_cm(6.24, 0.019), 26.0, 0.5),
        ],
    ),
    "uniformity": (
        "low-quarter uniformity; Christiansen 1942; own numbers",
        [
            ("du", lambda: drip.distribution_uniformity(FLOWS_L_H), 0.926984, 1e-6),
            ("cu", lambda: drip.christiansen_uniformity(FLOWS_L_H), 0.959841, 1e-6),
        ],
    ),
    "run-time": (
        "definition",
        [("hours", lambda: drip.run_time_h(300.0, 100, 2.0, 0.9), 1.666667, 1e-6)],
    ),
    "topp-1980": (
        "Topp, Davis & Annan 1980 eq. 7, from memory",
        [
            (f"{k}", partial(soil.topp_theta_m3_m3, float(k)), theta, 1e-6)
            for k, theta in ((5, 0.079787), (10, 0.1883), (20, 0.3454), (30, 0.4441))
        ],
    ),
}


def rows() -> Iterator[object]:
    for case, (source, quantities) in CASES.items():
        for quantity, ours, number, tolerance in quantities:
            yield pytest.param(ours, number, tolerance, source, id=f"{case}-{quantity}")


@pytest.mark.parametrize(("ours", "number", "tolerance", "source"), list(rows()))
def test_every_published_quantity_is_met(
    ours: Callable[[], float], number: float, tolerance: float, source: str
) -> None:
    """The source of each row is said when it fails."""
    assert ours() == pytest.approx(number, abs=tolerance), source


# -- the rows of the README's table that this file holds: case and quantity, and their name there
IN_README = {
    ("fao56-ex34-drip", "ke"): "evaporation coefficient under drip",
    ("fao56-ex36-tomato", "taw-silt"): "tomato's root zone in silt, TAW",
    ("saxton-rawls-loam", "field-capacity-full"): "loam's field capacity",
    ("saxton-rawls-loam", "ks-full"): "loam's conductivity",
    ("vg-loam", "theta-33-kpa"): "loam at 33 kPa",
    ("topp-1980", "20"): "water at permittivity 20",
    ("pond-radius", "loam"): "pond under a 2 L/h emitter on loam",
    ("wetted-bulb", "depth"): "bulb below 8 L at 2 L/h, depth",
    ("uniformity", "du"): "low-quarter uniformity of 16 emitters",
    ("leaching-requirement", "lr"): "share to drain for salt",
    ("green-ampt-silt-loam", "f-1-h"): "silt loam's pond, one hour",
    ("green-ampt-ponding", "tp"): "5 cm/h of rain until it stands",
    ("philip-early-time", "two-terms-at-0.01-h"): "the first 36 s of that pond",
    ("gardner-max-evaporation", "n-3"): "rise from a water table, A for n = 3",
    ("drainage-closed-form", "2-d"): "loam after two days of drainage",
}


@pytest.mark.parametrize("row", IN_README, ids="-".join)
def test_the_readme_prints_what_this_code_gives(row: tuple[str, str]) -> None:
    case, wanted = row
    (ours,) = [ours for quantity, ours, _, _ in CASES[case][1] if quantity == wanted]
    assert_ours(IN_README[row], ours())


# Tension [kPa] when 0.1, 0.2 … 0.7 of the water between 33 (or 10) and 1500 kPa is gone.
TENSIONS = {
    ("loam", 33.0): (44, 59, 80, 112, 159, 233, 350),
    ("sandy loam", 33.0): (43, 58, 78, 108, 154, 224, 337),
    ("clay loam", 33.0): (45, 62, 86, 122, 176, 258, 387),
    ("loam", 10.0): (12, 15, 19, 25, 33, 47, 72),
    ("sandy loam", 10.0): (11, 13, 15, 18, 22, 28, 38),
    ("clay loam", 10.0): (14, 20, 28, 41, 61, 95, 158),
}


def theta_and_tension(name: str, full_kpa: float) -> tuple[Curve, Curve]:
    """The curve of a class both ways: Saxton & Rawls from 33 kPa, the class mean from 10."""
    if full_kpa == 33.0:
        ours = soil.soil_class(name)
        return partial(soil.theta_at_m3_m3, ours), partial(soil.tension_kpa, ours)
    curve = soil.CARSEL_PARRISH[name]
    back = partial(soil.van_genuchten_tension_kpa, curve)
    return partial(soil.van_genuchten_theta_m3_m3, curve), back


@pytest.mark.parametrize(
    ("name", "full_kpa"), [pytest.param(*one, id=f"{one[0]}-{one[1]:g}") for one in TENSIONS]
)
def test_the_tension_that_a_share_of_the_water_stands_for(name: str, full_kpa: float) -> None:
    """Worked apart, printed in whole kPa: 0.6.

    The same 0.4 is 18 kPa or 122: a table does not turn a share into a tension.
    """
    theta_of, tension_of = theta_and_tension(name, full_kpa)
    full, dry = theta_of(full_kpa), theta_of(1500.0)
    found = [tension_of(full - tenth / 10.0 * (full - dry)) for tenth in range(1, 8)]
    assert found == pytest.approx(list(TENSIONS[name, full_kpa]), abs=0.6)
    if (name, full_kpa) == ("loam", 33.0):
        assert_ours("tension when 0.4 of loam's water is gone", found[3])
