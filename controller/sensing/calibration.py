"""From what a probe tells, in its own unit, to water content or tension. One reading at a time.

Water content `theta` [m3/m3] is the share of the soil's volume that is water. Tension [kPa] is
positive and rises as soil dries; it is never turned into water content here, since that takes the
bed's own curve and not a table. Raw counts follow the points of the garden file, straight between
them. Left out: correction of raw counts for temperature, whose sign depends on the electronics.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from enum import StrEnum
from itertools import pairwise
from typing import NamedTuple, assert_never

from controller.garden_parts import Probe

BEYOND_FRAC = 0.10  # [-] of the calibrated span of raw counts that may be extrapolated
PER_CENT = 100.0
OPEN_CIRCUIT_KOHM = 35.0  # [kOhm] more is a broken wire, not dry soil: our own rule
SHORT_CIRCUIT_KOHM = 0.1  # [kOhm] less is water in the joint, not wet soil: our own rule
REFERENCE_TEMP_C = 24.0  # [°C] taken where the probe tells no soil temperature
COLDEST_C, WARMEST_C = -5.0, 60.0  # [°C] a soil temperature outside is not used

Point = tuple[float, float]


class Calibration(StrEnum):
    """How a reading came out."""

    WATER = "water"
    TENSION = "tension"
    NOT_FINITE = "not_finite"
    WRONG_UNIT = "wrong_unit"
    UNCALIBRATED = "uncalibrated"
    OUTSIDE_CALIBRATION = "outside_calibration"
    OPEN_CIRCUIT = "open_circuit"
    SHORT_CIRCUIT = "short_circuit"


class Calibrated(NamedTuple):
    """A reading in physical units; both None where `reason` says why there is none."""

    reason: Calibration
    theta_m3_m3: float | None = None
    tension_kpa: float | None = None


def to_theta(probe: Probe, value: float, soil_temp_c: float | None = None) -> Calibrated:
    """Turn what a probe told into water content, or tension for probes that measure that.

    Args:
        probe: the probe's table of the garden file.
        value: what it told, in the unit of `probe.kind`.
        soil_temp_c: soil temperature at the probe [°C], None where it tells none.

    Returns:
        Water content [m3/m3] or tension [kPa], or neither and the reason.
    """
    if not math.isfinite(value):
        return Calibrated(reason=Calibration.NOT_FINITE)
    kind = probe.kind
    match kind:
        case "theta_m3_m3":
            return _water(value)
        case "theta_pct":
            return _water(value / PER_CENT)
        case "raw":
            return _from_counts(probe.calibration, value)
        case "tension_kpa":
            return _tension(value)
        case "resistance_kohm":
            return _from_resistance(value, soil_temp_c)
        case _:
            assert_never(kind)


def water_scale(probe: Probe) -> Callable[[float], float | None]:
    """The water content behind a probe's values, made ready once for all its readings.

    Args:
        probe: the probe's table of the garden file.

    Returns:
        What turns a value in the unit of `probe.kind` into the water content of `to_theta`
        [m3/m3], None where that has none.
    """
    match probe.kind:
        case "theta_m3_m3":
            return _share
        case "theta_pct":
            return lambda value: _share(value / PER_CENT)
        case "raw" if probe.calibration is not None:
            return scale(probe.calibration)
        case _:
            return lambda _: None


def _share(theta_m3_m3: float) -> float | None:
    # A probe that tells 23.4 where 0.234 is declared was given another unit, not wetter soil.
    return theta_m3_m3 if -1.0 <= theta_m3_m3 <= 1.0 else None


def _water(value: float) -> Calibrated:
    theta = _share(value)
    if theta is None:
        return Calibrated(reason=Calibration.WRONG_UNIT)
    return Calibrated(reason=Calibration.WATER, theta_m3_m3=theta)


def _tension(tension_kpa: float) -> Calibrated:
    if not tension_kpa >= 0.0:  # some makers count suction downwards: declared is upwards
        return Calibrated(reason=Calibration.WRONG_UNIT)
    return Calibrated(reason=Calibration.TENSION, tension_kpa=tension_kpa)


def _from_counts(points: Sequence[Point] | None, raw: float) -> Calibrated:
    if points is None:
        return Calibrated(reason=Calibration.UNCALIBRATED)
    theta = interpolated(points, raw)
    if theta is None:
        return Calibrated(reason=Calibration.OUTSIDE_CALIBRATION)
    return Calibrated(reason=Calibration.WATER, theta_m3_m3=theta)


def interpolated(points: Sequence[Point], x: float) -> float | None:
    """Read a table of points, straight between them and a little beyond its ends.

    Args:
        points: two or more pairs, the first of each different.
        x: where to read.

    Returns:
        The value, or None further out than a tenth of the span of the first numbers.
    """
    return scale(points)(x)


def scale(points: Sequence[Point]) -> Callable[[float], float | None]:
    """What `interpolated` reads from, made ready once.

    Args:
        points: two or more pairs, the first of each different.

    Returns:
        `interpolated` at these points.
    """
    ordered = sorted(points)
    beyond = BEYOND_FRAC * (ordered[-1][0] - ordered[0][0])
    lowest, highest = ordered[0][0] - beyond, ordered[-1][0] + beyond
    inner = [x for x, _ in ordered[1:-1]]
    pieces = [(x0, y0, y1 - y0, x1 - x0) for (x0, y0), (x1, y1) in pairwise(ordered)]

    def read(x: float) -> float | None:
        if not lowest <= x <= highest:
            return None
        x0, y0, rise, width = pieces[bisect_left(inner, x)]
        return y0 + rise * (x - x0) / width

    return read


def _from_resistance(resistance_kohm: float, soil_temp_c: float | None) -> Calibrated:
    if not resistance_kohm <= OPEN_CIRCUIT_KOHM:
        return Calibrated(reason=Calibration.OPEN_CIRCUIT)
    if not resistance_kohm >= SHORT_CIRCUIT_KOHM:
        return Calibrated(reason=Calibration.SHORT_CIRCUIT)
    usable = soil_temp_c is not None and COLDEST_C <= soil_temp_c <= WARMEST_C
    temp_c = soil_temp_c if usable and soil_temp_c is not None else REFERENCE_TEMP_C
    tension_kpa = granular_matrix_tension_kpa(resistance_kohm, temp_c)
    return Calibrated(reason=Calibration.TENSION, tension_kpa=tension_kpa)


def granular_matrix_tension_kpa(resistance_kohm: float, soil_temp_c: float) -> float:
    """Tension at a granular matrix sensor.

    Args:
        resistance_kohm: its resistance [kOhm], 0.1 to 35.
        soil_temp_c: soil temperature [°C], -5 to 60.

    Returns:
        Tension [kPa], 0 or more. The branches do not meet exactly: 1.4 kPa apart at 8 kOhm, 24 °C.

    Source: Shock, Barnum & Seddigh 1998 for 1 to 8 kOhm, Allen 2000 outside; both from memory.
    """
    warm = 1.0 + 0.018 * (soil_temp_c - 24.0)
    r = resistance_kohm
    if r < 0.55:
        return 0.0
    if r < 1.0:
        return max(0.0, (23.156 * r - 12.736) * warm)
    if r <= 8.0:
        return (4.093 + 3.213 * r) / (1.0 - 0.009733 * r - 0.01205 * soil_temp_c)
    return 2.246 + 5.239 * r * warm + 0.06756 * (r * warm) ** 2


def from_theta(probe: Probe, theta_m3_m3: float) -> float | None:
    """Say what a probe of this kind would tell at a water content: the way back, for trials.

    Args:
        probe: the probe's table of the garden file.
        theta_m3_m3: water content [m3/m3].

    Returns:
        The value in the probe's unit; None for raw probes without calibration or beyond it, and
        for probes that measure tension.
    """
    match probe.kind:
        case "theta_m3_m3":
            return theta_m3_m3
        case "theta_pct":
            return theta_m3_m3 * PER_CENT
        case "raw":
            points = probe.calibration
            return interpolated([(y, x) for x, y in points], theta_m3_m3) if points else None
        case _:
            return None
