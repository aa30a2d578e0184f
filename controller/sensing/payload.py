"""From the bytes of one message to an event, or a `PayloadError` whose cause never echoes them.

Pure: arrival times come with the call. A probe speaks in one of three forms (a plain number, JSON
with a pointer, SenML), in the unit that the garden file declares for it; nothing is guessed. What
is far out of physical range is no reading. The ranges here are wide enough for the rail values of
a broken probe and for another unit to pass: judging those is the business of quality control.

Unknown keys in JSON are ignored: nodes may tell more than we understand.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from pydantic import ValidationError

from controller.errors import PayloadError
from controller.events import (
    MeterReading,
    OutlookSpan,
    PressureReading,
    ProbeReading,
    RainOutlook,
    ValveReport,
    WeatherReading,
)
from controller.sensing import senml
from controller.sensing.messages import (
    SPANS,
    ControllerTold,
    MeterTotal,
    ProbeExtras,
    Span,
    ValveState,
    WeatherTold,
    cause,
    checked,
)
from controller.sensing.strict_json import number_in, parse_json, plain_number, point_at, text_of

# What passes this border by declared kind, both ends included: the physical range, and a hundred
# times as much with either sign, so that a step to another unit reaches quality control and gets
# its name there. Physical are: volumetric content 0 to 1; tension to 2 MPa, past any field probe;
# 1 MOhm, an open circuit.
RANGES: Mapping[str, tuple[float, float]] = {
    "raw": (-1e9, 1e9),  # [counts]
    "theta_m3_m3": (-100.0, 100.0),  # [m3/m3]
    "theta_pct": (-10_000.0, 10_000.0),  # [%]
    "tension_kpa": (-200_000.0, 200_000.0),  # [kPa]
    "resistance_kohm": (-100_000.0, 100_000.0),  # [kOhm]
}
# SenML units by declared kind, with the factor to the declared unit. "%" stands in none: RFC 8428
# section 12.1 gives it the meaning of a plain ratio, and people do not. "/100": RFC 8798. Both from
# memory.
UNITS: Mapping[str, Mapping[str, float]] = {
    "theta_m3_m3": {"/": 1.0, "m3/m3": 1.0},
    "theta_pct": {"/100": 1.0},
    "tension_kpa": {"kPa": 1.0, "hPa": 0.1, "Pa": 0.001},
    "resistance_kohm": {"kOhm": 1.0, "Ohm": 0.001},
}
SENML_WEATHER: Mapping[str, str] = {
    "temp_c": "Cel",
    "rh_pct": "%RH",
    "rain_mm_total": "mm",
    "solar_w_m2": "W/m2",
    "wind_m_s": "m/s",
}
SENML_EXTRAS: Mapping[str, str] = {"soil_temp_c": "Cel", "battery_v": "V"}
RH_FULL_PCT, RH_FOG_PCT = 100.0, 105.0  # [%] hygrometers read a little past full in fog; held to it
PRESSURE_KPA = (-100.0, 5000.0)  # [kPa] over the air's: a vacuum, and what no garden pipe holds
NIGHT_W_M2 = -20.0  # [W/m2] pyranometers read a little below 0 at night: from memory


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


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerState:
    """What stands on `controller/state`: `run` tells two processes of one epoch apart."""

    up: bool
    epoch: int | None
    run: str | None


def decode_probe(
    payload: bytes,
    probe_id: str,
    probe: ProbeForm,
    *,
    at_utc_s: float,
    mono_s: float,
    retained: bool = False,
) -> ProbeReading:
    """Decode one message of a soil-moisture probe.

    Args:
        payload: as it arrived.
        probe_id: the probe's name in the garden file.
        probe: its form and kind.
        at_utc_s: arrival [s UTC].
        mono_s: arrival [s, monotonic].
        retained: whether the broker kept it from before: history, of unknown age.

    Returns:
        The reading, in the unit of the declared kind; `not_now` says where it is none of now.

    Raises:
        PayloadError: no reading.
    """
    misdated = False
    if probe.senml is not None:
        value, extras, misdated = _from_senml(payload, probe.senml, probe.kind)
    elif probe.field is not None:
        document = parse_json(payload)
        value = number_in(point_at(document, probe.field))
        extras = checked(ProbeExtras, document if isinstance(document, dict) else {})
    else:
        value, extras = plain_number(payload), ProbeExtras()
    lowest, highest = RANGES[probe.kind]
    if not lowest <= value <= highest:
        msg = f"outside {lowest:g} to {highest:g}, beyond any unit of {probe.kind}"
        raise PayloadError(msg)
    return ProbeReading(
        at_utc_s=at_utc_s,
        mono_s=mono_s,
        probe=probe_id,
        value=value,
        not_now="retained" if retained else "future_dated" if misdated else "",
        **extras.model_dump(),
    )


def decode_valve(
    payload: bytes, valve_id: str, *, at_utc_s: float, mono_s: float
) -> tuple[ValveReport, str]:
    """Decode the state that a valve node tells.

    Args:
        payload: as it arrived.
        valve_id: the valve's name in the garden file.
        at_utc_s: arrival [s UTC].
        mono_s: arrival [s, monotonic].

    Returns:
        The report, and the nonce that came with it.

    Raises:
        PayloadError: no state.
    """
    state = checked(ValveState, parse_json(payload))
    report = ValveReport(
        at_utc_s=at_utc_s,
        mono_s=mono_s,
        valve=valve_id,
        **state.model_dump(exclude={"nonce"}),
    )
    return report, state.nonce


def decode_meter(
    payload: bytes, meter_id: str, *, litres_per_pulse: float, at_utc_s: float, mono_s: float
) -> MeterReading:
    """Decode the running total of a water meter.

    Args:
        payload: as it arrived, with `litres_total` or `pulses_total`.
        meter_id: the meter's name in the garden file.
        litres_per_pulse: [L], above 0.
        at_utc_s: arrival [s UTC].
        mono_s: arrival [s, monotonic].

    Returns:
        The reading in litres.

    Raises:
        PayloadError: no total, or both.
    """
    total = checked(MeterTotal, parse_json(payload))
    litres = total.litres_total
    if (litres is None) == (total.pulses_total is None):
        msg = "exactly one of litres_total and pulses_total is needed"
        raise PayloadError(msg)
    if litres is None:
        litres = (total.pulses_total or 0) * litres_per_pulse
    return MeterReading(
        at_utc_s=at_utc_s,
        mono_s=mono_s,
        meter=meter_id,
        litres_total=litres,
        up_s=total.up_s,
        boot=total.boot,
    )


def decode_pressure(
    payload: bytes, meter_id: str, *, at_utc_s: float, mono_s: float
) -> PressureReading | None:
    """Decode the pressure that a meter's node may tell beside its total.

    Args:
        payload: a meter's message that `decode_meter` took.
        meter_id: the meter's name in the garden file.
        at_utc_s: arrival [s UTC].
        mono_s: arrival [s, monotonic].

    Returns:
        The reading [kPa]; None where it tells none.

    Raises:
        PayloadError: it tells one that is no number, or none that a pipe could hold.
    """
    told = checked(MeterTotal, parse_json(payload))
    value = told.pressure_kpa
    if value is None:
        return None
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not (number and PRESSURE_KPA[0] <= float(str(value)) <= PRESSURE_KPA[1]):
        msg = "pressure_kpa is no number from {:g} to {:g}".format(*PRESSURE_KPA)
        raise PayloadError(msg)
    return PressureReading(
        at_utc_s=at_utc_s,
        mono_s=mono_s,
        meter=meter_id,
        pressure_kpa=float(str(value)),
        up_s=told.up_s,
        boot=told.boot,
    )


def decode_weather(
    payload: bytes, mast_id: str, *, at_utc_s: float, mono_s: float
) -> WeatherReading:
    """Decode what a weather mast tells, JSON or SenML.

    Args:
        payload: as it arrived, with one or more of the five quantities.
        mast_id: the mast's name in the garden file.
        at_utc_s: arrival [s UTC].
        mono_s: arrival [s, monotonic].

    Returns:
        The reading; None where nothing was told.

    Raises:
        PayloadError: no quantity, or one that is no number. Impossible values come through: the
            engine leaves them out one by one and says so.
    """
    document = parse_json(payload)
    if isinstance(document, list):
        document = _named_records(document, SENML_WEATHER)
    found = checked(WeatherTold, document).model_dump()
    if all(value is None for value in found.values()):
        msg = "none of the weather quantities is in it"
        raise PayloadError(msg)
    if found["rh_pct"] is not None and found["rh_pct"] <= RH_FOG_PCT:
        found["rh_pct"] = min(found["rh_pct"], RH_FULL_PCT)
    if found["solar_w_m2"] is not None and found["solar_w_m2"] >= NIGHT_W_M2:
        found["solar_w_m2"] = max(found["solar_w_m2"], 0.0)
    return WeatherReading(at_utc_s=at_utc_s, mono_s=mono_s, mast=mast_id, **found)


def decode_outlook(payload: bytes, *, at_utc_s: float, mono_s: float) -> RainOutlook:
    """Decode rain and heat to come; the body of the page's call has the same form.

    Args:
        payload: as it arrived, a list of at most 32 spans.
        at_utc_s: arrival [s UTC].
        mono_s: arrival [s, monotonic].

    Returns:
        The outlook.

    Raises:
        PayloadError: no outlook.
    """
    document = parse_json(payload)
    try:
        spans = SPANS.validate_python(document, strict=True)
    except ValidationError as exc:
        raise PayloadError(cause(exc)) from None
    if any(s.tmin_c is not None and s.tmax_c is not None and s.tmin_c > s.tmax_c for s in spans):
        msg = "tmin_c is above tmax_c"
        raise PayloadError(msg)
    return RainOutlook(at_utc_s=at_utc_s, mono_s=mono_s, spans=tuple(_span(s) for s in spans))


def decode_controller_state(payload: bytes) -> ControllerState:
    """Decode what a controller says of itself.

    Raises:
        PayloadError: no such state.
    """
    found = checked(ControllerTold, parse_json(payload))
    return ControllerState(up=found.state == "up", epoch=found.epoch, run=found.run)


def decode_canary(payload: bytes) -> int:
    """Decode our own proof of life.

    Raises:
        PayloadError: not a whole number.
    """
    text = text_of(payload)
    if not re.fullmatch(r"[0-9]{1,18}", text, re.ASCII):
        msg = "not a whole number"
        raise PayloadError(msg)
    return int(text)


def _span(span: Span) -> OutlookSpan:
    return OutlookSpan(
        from_utc_s=span.from_utc_s,
        hours=span.hours,
        rain_mm=span.rain_mm,
        chance_frac=span.chance,
        tmin_c=span.tmin_c,
        tmax_c=span.tmax_c,
    )


def _from_senml(payload: bytes, key: str, kind: str) -> tuple[float, ProbeExtras, bool]:
    """The value in the unit of the kind, what is told beside it, and whether it is misdated."""
    pack = parse_json(payload)
    record = senml.newest(senml.resolve(pack), key)
    factor = 1.0
    if record.unit is not None and kind in UNITS:
        allowed = UNITS[kind]
        if record.unit not in allowed:
            msg = f"another unit than {' or '.join(allowed)}, as a probe of kind {kind} has"
            raise PayloadError(msg)
        factor = allowed[record.unit]
    misdated = senml.misdated(record)
    extras = ProbeExtras() if misdated else checked(ProbeExtras, _named_records(pack, SENML_EXTRAS))
    return number_in(record.value) * factor, extras, misdated


def _named_records(pack: object, units: Mapping[str, str]) -> dict[str, float]:
    """Pick records by our own names, each in the one unit that its name says."""
    records = senml.resolve(pack)
    found: dict[str, float] = {}
    for name, unit in units.items():
        if not any(name in (r.name, r.own_name) and r.value is not None for r in records):
            continue
        record = senml.choose(records, name)
        if record.unit not in (None, unit):
            msg = f"another unit than {unit} for {name}"
            raise PayloadError(msg)
        found[name] = number_in(record.value)
    return found
