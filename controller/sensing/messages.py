"""The models of what nodes and programs send as JSON: strict types, finite numbers, ASCII ids.

Unknown keys are ignored: nodes may tell more than we understand. Each range is that of the physics
or of the wire's contract.
"""

from __future__ import annotations

import re
from datetime import datetime
from typing import Annotated, Literal, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    TypeAdapter,
    ValidationError,
)

from controller.errors import PayloadError

MAX_COUNTER = 2**53 - 1  # the largest whole number that every JSON parser keeps exactly (RFC 8259)
MAX_SPANS = 32  # spans of one outlook; a design choice

_RFC3339 = re.compile(
    r"2[01][0-9]{2}-[0-9]{2}-[0-9]{2}[Tt][0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,6})?"
    r"(?:[Zz]|[-+][0-9]{2}:[0-9]{2})",
    re.ASCII,
)


def _instant(value: object) -> object:
    """Read RFC 3339; the zone must be written."""
    if not isinstance(value, str) or not _RFC3339.fullmatch(value):
        msg = "not an instant of RFC 3339 with its zone"
        raise ValueError(msg)
    return datetime.fromisoformat(value.upper()).timestamp()


def _boot_text(value: object) -> object:
    """Let a boot be told as a count, too."""
    return str(value) if type(value) is int else value


WireId = Annotated[
    str, StringConstraints(pattern=r"\A[A-Za-z0-9][A-Za-z0-9._:/+=-]{0,63}\z")
]  # ASCII only: look-alikes of other scripts are refused
IdOrEmpty = Annotated[
    str, StringConstraints(pattern=r"\A(?:[A-Za-z0-9][A-Za-z0-9._:/+=-]{0,63})?\z")
]
Boot = Annotated[WireId, BeforeValidator(_boot_text)]
Counter = Annotated[int, Field(ge=0, le=MAX_COUNTER)]
Instant = Annotated[float, BeforeValidator(_instant)]
TempC = Annotated[float, Field(ge=-60.0, le=60.0)]
MastValue = Annotated[float, Field(ge=-1e5, le=1e5)]  # broken instruments tell -999, 65535


class Wire(BaseModel):
    """What all messages have in common."""

    model_config = ConfigDict(strict=True, frozen=True, extra="ignore", allow_inf_nan=False)


class ProbeExtras(Wire):
    """What a probe may tell beside its value."""

    soil_temp_c: Annotated[float, Field(ge=-300.0, le=1000.0)] | None = None  # judged later
    battery_v: Annotated[float, Field(ge=0.0, le=60.0)] | None = None
    seq: Counter | None = None
    boot: Boot | None = None


class ValveState(Wire):
    """`valve/<id>/state`."""

    open: bool
    left_s: Annotated[float, Field(ge=0.0, le=86_400.0)]
    dose: IdOrEmpty
    nonce: WireId
    boot: Boot
    epoch: Counter
    seq: Counter
    contract: Annotated[int, Field(ge=0, le=1_000_000)]


class MeterTotal(Wire):
    """`meter/<id>`: one of the two totals."""

    litres_total: Annotated[float, Field(ge=0.0, le=1e12)] | None = None
    pulses_total: Counter | None = None
    up_s: Annotated[float, Field(ge=0.0, le=1e10)]
    boot: Boot
    pressure_kpa: object = None  # judged by itself: a broken sensor takes no total with it


class WeatherTold(Wire):
    """`weather/<id>`: what there is. Impossible values are judged later, field by field."""

    temp_c: MastValue | None = None
    rh_pct: MastValue | None = None
    rain_mm_total: Annotated[float, Field(ge=0.0, le=1e6)] | None = None
    solar_w_m2: MastValue | None = None
    wind_m_s: MastValue | None = None


class Span(Wire):
    """One element of `outlook`."""

    from_utc_s: Annotated[Instant, Field(alias="from")]
    hours: Annotated[float, Field(gt=0.0, le=240.0)]
    rain_mm: Annotated[float, Field(ge=0.0, le=500.0)] = 0.0
    chance: Annotated[float, Field(ge=0.0, le=1.0)] = 1.0
    tmin_c: TempC | None = None
    tmax_c: TempC | None = None


class ControllerTold(Wire):
    """`controller/state`."""

    state: Literal["up", "gone"]
    epoch: Counter | None = None
    run: WireId | None = None


SPANS = TypeAdapter(Annotated[list[Span], Field(max_length=MAX_SPANS)], config=None)
_Model = TypeVar("_Model", bound=Wire)


def checked(model: type[_Model], document: object) -> _Model:
    """Validate parsed JSON.

    Raises:
        PayloadError: it is no such message.
    """
    try:
        return model.model_validate(document)
    except ValidationError as exc:
        raise PayloadError(cause(exc)) from None


def cause(exc: ValidationError) -> str:
    """Say the first fault: our own field name and what is allowed, never what was sent."""
    first = exc.errors(include_url=False, include_input=False, include_context=False)[0]
    where = ".".join(str(part) for part in first["loc"]) or "message"
    return f"{where}: {first['msg']}"
