"""The tables of the garden file, one model each; what spans several tables is checked elsewhere.

Every number has a range, in the unit that its key names. The ranges are ceilings of sense for a
plot of up to a few hundred plants, not advice: common practice, no source, where none is given.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, model_validator

from controller.agronomy.soil import soil_class
from controller.garden_rules import (
    Between,
    Day,
    DeviceId,
    Line,
    Many,
    OneOf,
    Part,
    Switch,
    Text,
    Topic,
)

SoilName = Literal[
    "sand",
    "loamy sand",
    "sandy loam",
    "loam",
    "silt loam",
    "silt",
    "sandy clay loam",
    "clay loam",
    "silty clay loam",
    "sandy clay",
    "silty clay",
    "clay",
]
Mulch = Literal["none", "straw", "plastic"]
Habit = Literal["indeterminate", "determinate"]
ProbeKind = Literal["raw", "theta_m3_m3", "theta_pct", "tension_kpa", "resistance_kohm"]
Role = Literal["bed", "master", "pump"]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]

SMALLEST_AVAILABLE_M3_M3 = 0.02  # [m3/m3] field capacity less wilting point; sand holds 0.05
SMALLEST_AIR_M3_M3 = 0.05  # [m3/m3] saturation above a told field capacity
FIRST_LINE_WIDTH_M = 0.5  # [m] strip wetted by one drip line
NEXT_LINE_WIDTH_M = 0.3  # [m] added by each further line
NARROWEST_M = 0.1  # [m] wetted strip
WIDTH = Between(0.1, 10.0, "m")
LINES = Between(1, 6, whole=True)


class Supply(Part):
    """`[supply]`: what water there is."""

    flow_l_min: Annotated[float, Between(0.1, 500.0, "L/min")]
    pressure_kpa: Annotated[float, Between(10.0, 1000.0, "kPa")] | None = None
    litres_per_week: Annotated[float, Between(1.0, 500_000.0, "L")] | None = None
    days: (
        Annotated[tuple[Annotated[Weekday, OneOf(get_args(Weekday))], ...], Many(1, 7, "weekdays")]
        | None
    ) = None
    tank_l: Annotated[float, Between(1.0, 500_000.0, "L")] | None = None
    shared: Annotated[bool, Switch()] = False
    meter: DeviceId | None = None


def _as_list(crop: object) -> object:
    return [crop] if isinstance(crop, str) else crop


def strip_width_m(width_m: float, lines: int) -> float:
    """Work out the width of the strip that drip lines wet, where nobody measured it.

    Args:
        width_m: ground per row [m].
        lines: drip lines per row, 1 or more.

    Returns:
        Width of the wetted strip [m].

    Source: common practice, no source.
    """
    told = FIRST_LINE_WIDTH_M + NEXT_LINE_WIDTH_M * (lines - 1)
    return max(NARROWEST_M, min(width_m, told))


def nearest_soil(field_capacity_m3_m3: float, wilting_point_m3_m3: float) -> SoilName:
    """Name the soil class whose two water contents lie nearest to those told.

    Args:
        field_capacity_m3_m3: water content at field capacity [m3/m3].
        wilting_point_m3_m3: water content at the wilting point [m3/m3].

    Returns:
        The class; conductivity and saturation are taken from it.
    """

    def apart(name: SoilName) -> float:
        soil = soil_class(name)
        return math.hypot(
            soil.field_capacity_m3_m3 - field_capacity_m3_m3,
            soil.wilting_point_m3_m3 - wilting_point_m3_m3,
        )

    return min(get_args(SoilName), key=apart)


def _with_strip_width(bed: object) -> object:
    """Fill in the wetted width where the file is silent; what is faulty is refused elsewhere."""
    if not isinstance(bed, Mapping) or bed.get("wetted_width_m") is not None:
        return bed
    width: Any = bed.get("width_m")
    lines: Any = bed.get("lines", 1)
    if WIDTH.broken(width) is not None or LINES.broken(lines) is not None:
        return bed
    return {**bed, "wetted_width_m": strip_width_m(width, lines)}


class Bed(Part):
    """`[beds.NAME]`: the plants behind one valve. `crop` is always held as a tuple."""

    crop: Annotated[tuple[Line, ...], Many(1, 5, "crops"), BeforeValidator(_as_list)] = ("tomato",)
    habit: Annotated[Habit, OneOf(get_args(Habit))] = "indeterminate"
    varieties: Annotated[tuple[Annotated[str, Text(60)], ...], Many(0, 50, "varieties")] = ()
    transplanted: Annotated[date, Day()]
    cleared: Annotated[date, Day()] | None = None
    plants: Annotated[int, Between(1, 2000, whole=True)]
    spacing_m: Annotated[float, Between(0.05, 5.0, "m")]
    width_m: Annotated[float, WIDTH]
    soil: Annotated[SoilName, OneOf(get_args(SoilName))] | None = None
    field_capacity_m3_m3: Annotated[float, Between(0.03, 0.6, "m3/m3")] | None = None
    wilting_point_m3_m3: Annotated[float, Between(0.005, 0.45, "m3/m3")] | None = None
    mulch: Annotated[Mulch, OneOf(get_args(Mulch))] = "none"
    cover_frac: Annotated[float, Between(0.05, 1.0)] | None = None
    lines: Annotated[int, LINES] = 1
    emitters: Annotated[int, Between(1, 10_000, whole=True)]
    emitter_l_h: Annotated[float, Between(0.1, 50.0, "L/h")]
    root_depth_m: Annotated[float, Between(0.1, 2.0, "m")] = 0.55
    wetted_width_m: Annotated[float, Between(NARROWEST_M, 10.0, "m")] = FIRST_LINE_WIDTH_M
    valve: DeviceId
    probes: Annotated[tuple[DeviceId, ...], Many(0, 16, "probes")] = ()
    like: Line | None = None
    lean: Annotated[float, Between(0.0, 1.0)] = 0.5

    _fill = model_validator(mode="before")(_with_strip_width)

    @property
    def row_m(self) -> float:
        """Length of the row(s) of this bed [m]."""
        return self.plants * self.spacing_m

    @property
    def wetted_area_m2(self) -> float:
        """Ground that the drip lines wet [m2]; the balance is kept in millimetres over it."""
        return self.row_m * self.wetted_width_m

    @property
    def ground_area_m2(self) -> float:
        """Ground that the plants have to themselves [m2]; demand arises over it."""
        return self.row_m * self.width_m

    @property
    def texture(self) -> SoilName:
        """The soil class: the one told, else the one nearest to the two told water contents."""
        full, dry = self.field_capacity_m3_m3, self.wilting_point_m3_m3
        if self.soil is not None or full is None or dry is None:
            return self.soil or "loam"
        return nearest_soil(full, dry)

    @property
    def fc_m3_m3(self) -> float:
        """Water content at field capacity [m3/m3], told or the class's."""
        told = self.field_capacity_m3_m3
        return soil_class(self.texture).field_capacity_m3_m3 if told is None else told

    @property
    def wp_m3_m3(self) -> float:
        """Water content at the wilting point [m3/m3], told or the class's."""
        told = self.wilting_point_m3_m3
        return soil_class(self.texture).wilting_point_m3_m3 if told is None else told

    @property
    def saturation_m3_m3(self) -> float:
        """Water content of the soil class when all pores are full [m3/m3], above `fc_m3_m3`."""
        return max(soil_class(self.texture).saturation_m3_m3, self.fc_m3_m3 + SMALLEST_AIR_M3_M3)

    @property
    def ks_mm_h(self) -> float:
        """Saturated conductivity of the soil class [mm/h]."""
        return soil_class(self.texture).ks_mm_h

    @property
    def taw_mm(self) -> float:
        """Total available water of the full-grown root zone [mm]. Source: FAO-56 eq. 82."""
        return 1000.0 * (self.fc_m3_m3 - self.wp_m3_m3) * self.root_depth_m

    @property
    def flow_l_min(self) -> float:
        """Nominal flow of all emitters [L/min]."""
        return self.emitters * self.emitter_l_h / 60.0


class Probe(Part):
    """`[probes.NAME]`: one soil-moisture probe; the beds list theirs."""

    topic: Topic | None = None
    field: (
        Annotated[str, Text(200, r"(?:/[^/]*)+", "a JSON pointer such as '/moist/raw'")] | None
    ) = None
    senml: Annotated[str, Text(100)] | None = None
    kind: Annotated[ProbeKind, OneOf(get_args(ProbeKind))]
    depth_cm: Annotated[float, Between(1.0, 200.0, "cm")]
    every_s: Annotated[float, Between(1.0, 86_400.0, "s")] | None = None
    battery_least_v: Annotated[float, Between(0.5, 60.0, "V")] | None = None
    calibration: (
        Annotated[
            tuple[
                Annotated[
                    tuple[
                        Annotated[float, Between(-1e9, 1e9, "counts")],
                        Annotated[float, Between(0.0, 0.7, "m3/m3")],
                    ],
                    Many(2, 2, "numbers: raw counts and m3/m3"),
                ],
                ...,
            ],
            Many(2, 20, "points"),
        ]
        | None
    ) = None

    @property
    def uncalibrated(self) -> bool:
        """Whether it tells bare counts that nothing turns into water content."""
        return self.kind == "raw" and self.calibration is None


class RelayWords(Part):
    """`say`: what makes a plain relay open and close."""

    topic: Topic
    open: Line
    close: Line


class RelayEvidence(Part):
    """`evidence`: where a plain relay tells what it did."""

    topic: Topic
    open: Line
    closed: Line


class ValveTopics(Part):
    """`topics`: the three topics of a valve node, where they are not the usual ones."""

    lease: Topic | None = None
    close: Topic | None = None
    state: Topic | None = None


class Valve(Part):
    """`[valves.NAME]`: a bed's valve, the master upstream, or the pump."""

    role: Annotated[Role, OneOf(get_args(Role))] = "bed"
    say: RelayWords | None = None
    evidence: RelayEvidence | None = None
    topics: ValveTopics = ValveTopics()

    @property
    def plain_relay(self) -> bool:
        """Whether it knows no leases: it stays as it was last told."""
        return self.say is not None


class Meter(Part):
    """`[meters.NAME]`: a water meter that counts pulses."""

    topic: Topic | None = None
    litres_per_pulse: Annotated[float, Between(0.001, 100.0, "L")]


class Weather(Part):
    """`[weather.NAME]`: a weather mast."""

    topic: Topic | None = None


class Normals(Part):
    """`[normals]`: the grower's monthly means, January first."""

    eto_mm_d: (
        Annotated[tuple[Annotated[float, Between(0.0, 15.0, "mm/d")], ...], Many(12, 12, "months")]
        | None
    ) = None
    rain_mm: (
        Annotated[tuple[Annotated[float, Between(0.0, 2000.0, "mm")], ...], Many(12, 12, "months")]
        | None
    ) = None


class Limits(Part):
    """`[limits]`: caps in litres of any sliding 24 h; None where they follow from the beds."""

    bed_l_day: Annotated[float, Between(1.0, 50_000.0, "L")] | None = None
    dose_l: Annotated[float, Between(1.0, 50_000.0, "L")] | None = None
    site_l_day: Annotated[float, Between(1.0, 200_000.0, "L")] | None = None
    open_max_s: Annotated[int, Between(60, 5400, "s", whole=True)] = 5400
    blind_days: Annotated[int, Between(1, 30, "days", whole=True)] | None = None
