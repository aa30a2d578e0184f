"""What a virtual probe puts on the wire: the world's value in its declared form.

The inverse of what the controller decodes: a plain number, a JSON object with the value where the
pointer points, or SenML; in raw counts, m3/m3, percent, kPa or kOhm.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Sequence
from typing import Protocol

# Two points of an invented capacitive probe: counts fall as soil gets wetter.
DEFAULT_CALIBRATION = ((2900.0, 0.04), (1350.0, 0.42))  # [counts, m3/m3]
SENML_UNITS = {
    "theta_m3_m3": "/",
    "theta_pct": "/100",
    "tension_kpa": "kPa",
    "resistance_kohm": "kOhm",
}
DIGITS = {"raw": 0, "theta_m3_m3": 4, "theta_pct": 2, "tension_kpa": 2, "resistance_kohm": 3}

_INDEX = re.compile(r"0|[1-9][0-9]?", re.ASCII)


class ProbeForm(Protocol):
    """How a probe speaks: the garden file's probe has these."""

    @property
    def field(self) -> str | None:
        """JSON pointer to the value."""

    @property
    def senml(self) -> str | None:
        """Name of the SenML record."""

    @property
    def kind(self) -> str:
        """What the value is, unit included."""

    @property
    def calibration(self) -> Sequence[tuple[float, float]] | None:
        """Points (raw counts, m3/m3)."""


def counts_of(theta_m3_m3: float, points: Sequence[tuple[float, float]]) -> float:
    """Read a calibration backward, by straight lines; the outer ones go on past the ends.

    Args:
        theta_m3_m3: volumetric water content [m3/m3].
        points: (raw counts, m3/m3), 2 or more.

    Returns:
        Raw counts.
    """
    return _counts_between(theta_m3_m3, _rising(points))


def _rising(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The points by water content."""
    return sorted(points, key=lambda point: point[1])


def _counts_between(theta_m3_m3: float, rising: Sequence[tuple[float, float]]) -> float:
    at = 1
    while at < len(rising) - 1 and theta_m3_m3 > rising[at][1]:
        at += 1
    (raw_low, low), (raw_high, high) = rising[at - 1], rising[at]
    if high <= low:
        return raw_low
    return raw_low + (raw_high - raw_low) * (theta_m3_m3 - low) / (high - low)


def resistance_of(tension_kpa: float) -> float:
    """Work out the resistance of a granular matrix sensor at 24 °C.

    Args:
        tension_kpa: soil water tension [kPa], 0 or more.

    Returns:
        Resistance [kOhm].

    Source: the inverse of Shock, Barnum & Seddigh 1998 for 1 to 8 kOhm (attribution from memory)
        and of the branches attributed to Allen 2000 (from memory) outside.
    """
    if tension_kpa < 23.156 - 12.736:
        return (tension_kpa + 12.736) / 23.156
    middle = (tension_kpa * (1.0 - 0.01205 * 24.0) - 4.093) / (3.213 + 0.009733 * tension_kpa)
    if middle <= 8.0:
        return middle
    a, b, c = 0.06756, 5.239, 2.246 - tension_kpa
    return max(8.0, (-b + math.sqrt(b * b - 4.0 * a * c)) / (2.0 * a))


def told_value(probe: ProbeForm, theta_m3_m3: float, tension_kpa: float) -> float:
    """Turn the world's value into the unit that the probe tells.

    Args:
        probe: its kind and calibration.
        theta_m3_m3: water content at the probe [m3/m3].
        tension_kpa: tension there [kPa].

    Returns:
        The value, rounded as such a probe would.
    """
    return teller(probe)(theta_m3_m3, tension_kpa)


def teller(probe: ProbeForm) -> Callable[[float, float], float]:
    """What turns the world's value into a probe's own unit, laid out once for many readings.

    Args:
        probe: its kind and calibration.

    Returns:
        Takes water content [m3/m3] and tension [kPa], gives what `told_value` gives.
    """
    digits = DIGITS[probe.kind]
    rounded = rounder(digits)
    match probe.kind:
        case "raw":
            rising = _rising(probe.calibration or DEFAULT_CALIBRATION)
            return lambda theta, _: rounded(_counts_between(theta, rising))
        case "theta_pct":
            return lambda theta, _: rounded(100.0 * theta)
        case "tension_kpa":
            return lambda _, tension: round(tension, digits)
        case "resistance_kohm":
            return lambda _, tension: round(resistance_of(tension), digits)
        case _:
            return rounded


def rounder(digits: int) -> Callable[..., float]:
    """What rounds like `round`, in less time where the value is not halfway.

    Args:
        digits: after the point, 0 to 4.

    Returns:
        `round(value, digits)` to the last bit: a whole number over a power of ten is the double
        nearest to that decimal, as in `round`.
    """
    scale = 10.0**digits

    def rounded(value: float, _tension_kpa: float = 0.0) -> float:
        scaled = value * scale
        if not 0.0 < scaled < 1e6:
            return round(value, digits)
        whole = int(scaled + 0.5)
        if -0.499 < scaled - whole < 0.499:
            return whole / scale
        return round(value, digits)

    return rounded


def message(values: Sequence[tuple[ProbeForm, float]], stamp: dict[str, object]) -> bytes:
    """Write one message of all the probes that share a topic.

    Args:
        values: each probe with the value that it tells.
        stamp: `seq` and `boot`, where the form has room for them.

    Returns:
        The payload.
    """
    records = [
        {"n": probe.senml, "v": value, **_unit(probe.kind)}
        for probe, value in values
        if probe.senml is not None
    ]
    if records:
        return json.dumps(records).encode()
    document: object = None
    for probe, value in values:
        if probe.field is None:
            return json.dumps(value).encode()
        document = _put(document, probe.field.split("/")[1:], value)
    if isinstance(document, dict):
        document = {**stamp, **document}
    return json.dumps(document).encode()


def _unit(kind: str) -> dict[str, str]:
    return {"u": SENML_UNITS[kind]} if kind in SENML_UNITS else {}


def _put(document: object, tokens: Sequence[str], value: float) -> object:
    """Put a value where the tokens of a JSON pointer point (RFC 6901)."""
    if not tokens:
        return value
    token = tokens[0].replace("~1", "/").replace("~0", "~")
    if isinstance(document, list) or (document is None and _INDEX.fullmatch(token)):
        array: list[object] = list(document) if isinstance(document, list) else []
        array += [None] * (int(token) + 1 - len(array))
        array[int(token)] = _put(array[int(token)], tokens[1:], value)
        return array
    found: dict[str, object] = dict(document) if isinstance(document, dict) else {}
    found[token] = _put(found.get(token), tokens[1:], value)
    return found
