"""What may be sent: bodies counted while they are read, then parsed strictly.

The size is limited before anything is parsed; JSON is refused where two readers could see two
things (duplicate keys, NaN, numbers beyond a float, nesting without end).
"""

from __future__ import annotations

import asyncio
import json
import re
from datetime import datetime
from typing import Annotated, Any, Literal, TypeVar
from urllib.parse import parse_qsl

from fastapi import Request
from pydantic import (
    AfterValidator,
    AwareDatetime,
    BaseModel,
    ConfigDict,
    Field,
    RootModel,
    ValidationError,
)

from api.problems import ProblemError

MOST_BYTES = 16_384  # [B] no order is larger; the same limit as for request headers
READ_WITHIN_S = 10.0  # [s] a whole body, however slow the line
MOST_LITRES = 1_000_000.0  # [L] beyond this it is a slip, not an order
MOST_MINUTES = 100_000.0
MOST_FIELDS = 24  # of a page form

JSON_TYPE = "application/json"
FORM_TYPE = "application/x-www-form-urlencoded"

Why = Annotated[str, Field(max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")]
GivenWhy = Annotated[str, Field(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f]*\S.*$")]


class Sent(BaseModel):
    """Base of all bodies: strict, closed, finite."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class WaterLitres(Sent):
    """So many litres."""

    litres: Annotated[float, Field(gt=0.0, le=MOST_LITRES)]


class WaterMinutes(Sent):
    """So many minutes of open valve."""

    minutes: Annotated[float, Field(gt=0.0, le=MOST_MINUTES)]


def _only_true(value: bool) -> bool:
    # `Literal[True]` would take the number 1 as well
    if value is not True:
        msg = "must be true"
        raise ValueError(msg)
    return value


class WaterRefill(Sent):
    """Refill the root zone."""

    refill: Annotated[bool, AfterValidator(_only_true), Field(json_schema_extra={"const": True})]


class Water(RootModel[WaterLitres | WaterMinutes | WaterRefill]):
    """One of litres, minutes, refill."""

    model_config = ConfigDict(frozen=True, strict=True)


class Pause(Sent):
    """No automatic watering until then."""

    until: AwareDatetime
    why: Why = ""


class Lock(Sent):
    """People are at the pipes."""

    why: GivenWhy


class Clear(Sent):
    """Lift an alert; a latch needs its why."""

    why: Why = ""


class Soil(Sent):
    """What the soil feels like at a depth."""

    feel: Literal["dry", "just_moist", "wet"]
    depth_cm: Annotated[float, Field(gt=0.0, le=100.0)]


class Look(Sent):
    """What the leaves look like: 0 upright, 1 slightly rolled, 2 limp; without `when`, just now."""

    leaves: Annotated[int, Field(ge=0, le=2)]
    when: Literal["morning", "midday", ""] = ""


SeasonEvent = Literal["first_flower", "first_set", "first_colour", "topped", "last_pick"]


class Stage(Sent):
    """What was seen of the season, and on which day; without one, today."""

    stage: SeasonEvent
    on: Annotated[str, Field(pattern=r"^([0-9]{4}-[0-9]{2}-[0-9]{2})?$")] = ""


class Unstage(Sent):
    """Which mark is taken back."""

    stage: SeasonEvent


Day = Annotated[str, Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$")]
FruitCount = Annotated[int, Field(ge=0, le=10_000)]


class Pick(Sent):
    """A pick: planned on a day to come; of one that was, its kg and how many fruit were faulty."""

    on: Day
    kg: Annotated[float, Field(gt=0.0, le=1000.0)] | None = None
    cracked: FruitCount | None = None
    black_ended: FruitCount | None = None
    variety: Annotated[str, Field(max_length=60, pattern=r"^[^\x00-\x1f\x7f]*$")] = ""


class Unpick(Sent):
    """The day whose plan, or whose last pick, is taken back."""

    on: Day


class Words(Sent):
    """A few words for the season book."""

    text: Annotated[str, Field(min_length=1, max_length=400, pattern=r"^[^\x00-\x1f\x7f]*\S.*$")]


class Poured(Sent):
    """So many litres were poured by hand."""

    litres: Annotated[float, Field(gt=0.0, le=MOST_LITRES)]


class Tank(Sent):
    """What the tank holds now; without litres, it is full."""

    litres: Annotated[float, Field(ge=0.0, le=MOST_LITRES)] | None = None


class Nothing(Sent):
    """An empty body, or the reason for the record."""

    why: Why = ""


Body = TypeVar("Body", bound=BaseModel)


def has_body(request: Request) -> bool:
    """Whether anything was announced behind the headers."""
    length = request.headers.get("content-length")
    if length is None:
        return "transfer-encoding" in request.headers
    return length.strip("0") != ""


def check_type(request: Request, allowed: str) -> None:
    """Refuse another content type.

    Raises:
        ProblemError: 415.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != allowed:
        raise ProblemError(415, f"Send {allowed}, or no body.")


def check_length(request: Request) -> None:
    """Refuse by the announced length, before a byte is read.

    Raises:
        ProblemError: 413, 422.
    """
    length = request.headers.get("content-length")
    if length is None:
        return
    if not re.fullmatch(r"[0-9]{1,18}", length):
        raise ProblemError(422, "Content-Length is no number.")
    if int(length) > MOST_BYTES:
        raise ProblemError(413, f"A body may have {MOST_BYTES} bytes.")


async def read(request: Request) -> bytes:
    """The body, counted while it comes in.

    Raises:
        ProblemError: 413 too large, 408 too slow.
    """
    check_length(request)
    whole = bytearray()
    try:
        async with asyncio.timeout(READ_WITHIN_S):
            async for part in request.stream():
                whole += part
                if len(whole) > MOST_BYTES:
                    raise ProblemError(413, f"A body may have {MOST_BYTES} bytes.")
    except TimeoutError:
        raise ProblemError(408, f"A body may take {READ_WITHIN_S:.0f} s.") from None
    return bytes(whole)


def _no_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    keys = [key for key, _ in pairs]
    if len(set(keys)) != len(keys):
        msg = "a key stands twice"
        raise ValueError(msg)
    return dict(pairs)


def _no_constant(name: str) -> float:
    del name
    msg = "no finite number"
    raise ValueError(msg)


def parse(raw: bytes, model: type[Body]) -> Body:
    """JSON bytes as a strict model; no bytes mean `{}`.

    Args:
        raw: the body.
        model: what it has to be.

    Raises:
        ProblemError: 422, naming the fields at fault and nothing of their values.
    """
    text = raw or b"{}"
    try:
        json.loads(text.decode("utf-8"), object_pairs_hook=_no_twice, parse_constant=_no_constant)
        return model.model_validate_json(text)
    except ValidationError as exc:
        raise ProblemError(422, _fault(exc, model)) from None
    except (ValueError, RecursionError):
        raise ProblemError(422, "The body is no JSON object, or holds a key twice.") from None


def _fault(exc: ValidationError, model: type[BaseModel]) -> str:
    """Say which of our own fields is at fault; a stranger's key is never named."""
    properties = _names(model.model_json_schema())
    kinds = exc.errors(include_url=False, include_input=False, include_context=False)
    named = sorted({str(part) for kind in kinds for part in kind["loc"]} & set(properties))
    at_fault = f" At fault: {', '.join(named)}." if named else ""
    return f"Allowed: {', '.join(properties)}; nothing else.{at_fault}"


def _names(schema: dict[str, Any]) -> list[str]:
    parts = schema.get("$defs", {}).values() if "$defs" in schema else (schema,)
    return [name for part in parts for name in part.get("properties", {})]


def described(model: type[BaseModel], *, required: bool = True) -> dict[str, Any]:
    """The request body of a route for its OpenAPI description."""
    schema = model.model_json_schema()
    schema = _inlined(schema, schema.pop("$defs", {}))
    return {"requestBody": {"required": required, "content": {JSON_TYPE: {"schema": schema}}}}


def _inlined(part: Any, defs: dict[str, Any]) -> Any:  # noqa: ANN401 - any JSON value
    """A JSON schema with each reference replaced by what it refers to."""
    if isinstance(part, list):
        return [_inlined(one, defs) for one in part]
    if not isinstance(part, dict):
        return part
    if "$ref" in part:
        return _inlined(defs[part["$ref"].rpartition("/")[2]], defs)
    return {key: _inlined(one, defs) for key, one in part.items()}


async def json_body(request: Request, model: type[Body]) -> tuple[Body, bytes]:
    """Read and parse; also the bytes, for the idempotency key.

    Raises:
        ProblemError: 408, 413, 415, 422.
    """
    if has_body(request):
        check_length(request)
        check_type(request, JSON_TYPE)
    raw = await read(request)
    return parse(raw, model), raw


async def form_body(request: Request) -> dict[str, str]:
    """The fields of a page form.

    Raises:
        ProblemError: 408, 413, 415, 422.
    """
    check_length(request)
    check_type(request, FORM_TYPE)
    raw = await read(request)
    try:
        pairs = parse_qsl(
            raw.decode("ascii"), keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="strict"
        )
    except ValueError:
        raise ProblemError(422, "The form is malformed.") from None
    if len({name for name, _ in pairs}) != len(pairs):
        raise ProblemError(422, "The form holds a field twice.")
    return dict(pairs)


_INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?"
    r"([Zz]|[+-][0-9]{2}:[0-9]{2})"
)


def instant_utc_s(text: str) -> float:
    """An RFC 3339 instant as Unix seconds.

    Raises:
        ProblemError: 422.
    """
    try:
        if _INSTANT.fullmatch(text):
            return datetime.fromisoformat(text.upper()).timestamp()
    except (ValueError, OverflowError):
        pass
    raise ProblemError(422, "An instant is written like 2026-07-01T04:30:00Z.")


def amount(text: str, name: str, most: float) -> float:
    """A number typed by a person into a form.

    Args:
        text: as typed; a decimal comma is taken as a point, but `1,250` can mean two things.
        name: what it is, for the message.
        most: the largest that is taken.

    Raises:
        ProblemError: 422.
    """
    typed = text.strip()
    if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", typed):
        whole, part = typed.replace(",", ""), typed.replace(",", ".").rstrip("0").rstrip(".")
        raise ProblemError(422, f"{typed} can be read in two ways: write {whole} or {part}.")
    plain = typed.replace(",", ".")
    if re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,3})?", plain):
        value = float(plain)
        if 0.0 < value <= most:
            return value
    such = "40 or 2.5, without a unit behind it"
    msg = f"The {name} must be a number such as {such}, above 0 and at most {most:.0f}."
    raise ProblemError(422, msg)
