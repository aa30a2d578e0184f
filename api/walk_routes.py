"""The commissioning walk over HTTP: begin, answer, end, and the backflow question."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Request
from pydantic import Field
from starlette.responses import Response

from api import bodies
from api.asks import TheDesk, Writer, asked_reader, once
from api.desk import Desk
from api.orders import bed_in, place, record_response
from api.problems import json_response
from api.security import Caller
from controller.events import OrderKind

router = APIRouter()

Device = Literal[
    "air_gap",
    "reduced_pressure",
    "pressure_vacuum_breaker",
    "atmospheric_vacuum_breaker",
    "double_check",
    "not_on_mains",
    "none",
]
BedName = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[A-Za-z0-9_-]+$")]


class Walk(bodies.Sent):
    """Walk what is not walked yet, or one bed; `yes`: where the meter agrees, nobody is asked."""

    bed: BedName | None = None
    yes: bool = False


class WalkAnswer(bodies.Sent):
    """Whether the right bed, and no other, got wet."""

    right: bool
    bed: BedName | None = None


class WalkBackflow(bodies.Sent):
    """Which backflow device is fitted, and the day of its last test where it has test cocks."""

    device: Device
    tested: Annotated[str, Field(pattern=r"^([0-9]{4}-[0-9]{2}-[0-9]{2})?$")] = ""


@router.get("/api/walk", dependencies=[Depends(asked_reader)])
async def walk(desk: TheDesk) -> Response:
    """The walk that is under way, and what came of each valve."""
    return json_response(desk.view().get("walk", {}))


@router.post("/api/walk", openapi_extra=bodies.described(Walk, required=False))
async def begin_walk(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """Begin the walk, or go on with it: valves that are walked stay so."""
    sent, raw = await bodies.json_body(request, Walk)
    if sent.bed is not None:
        bed_in(desk, sent.bed)
    return await _told(request, desk, caller, raw, OrderKind.WALK, bed=sent.bed, yes=sent.yes)


@router.delete("/api/walk")
async def end_walk(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """End the walk; its valve closes, and what was finished stays walked."""
    _, raw = await bodies.json_body(request, bodies.Nothing)
    return await _told(request, desk, caller, raw, OrderKind.WALK_END)


@router.post("/api/walk/answer", openapi_extra=bodies.described(WalkAnswer))
async def answer_walk(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """Say whether the right bed, and no other, got wet."""
    sent, raw = await bodies.json_body(request, WalkAnswer)
    if sent.bed is not None:
        bed_in(desk, sent.bed)
    what = OrderKind.WALK_ANSWER
    return await _told(request, desk, caller, raw, what, bed=sent.bed, yes=sent.right)


@router.post("/api/walk/backflow", openapi_extra=bodies.described(WalkBackflow))
async def tell_backflow(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """Say which backflow device is fitted and when it was tested; nothing is armed before."""
    sent, raw = await bodies.json_body(request, WalkBackflow)
    what = OrderKind.WALK_BACKFLOW
    return await _told(request, desk, caller, raw, what, device=sent.device, on=sent.tested)


async def _told(
    request: Request, desk: Desk, caller: Caller, raw: bytes, what: OrderKind, **fields: object
) -> Response:
    async def work() -> Response:
        answer = await place(desk, caller, what, **fields)
        return record_response(answer, what, caller, **fields)

    return await once(request, caller, raw, work)
