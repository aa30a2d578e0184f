"""What a person felt and saw, told over HTTP: soil in the hand, leaves, marks of the season."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from api import bodies
from api.asks import TheDesk, Writer, once, plain
from api.orders import bed_in, place, record_response
from controller.events import OrderKind

router = APIRouter()


@router.post("/api/beds/{bed}/soil", openapi_extra=bodies.described(bodies.Soil))
async def soil(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """The finger or the spade: what the soil feels like at a depth."""
    bed_in(desk, bed)
    sent, raw = await bodies.json_body(request, bodies.Soil)

    async def work() -> Response:
        told = sent.model_dump()
        answer = await place(desk, caller, OrderKind.SOIL, bed=bed, **told)
        return record_response(answer, OrderKind.SOIL, caller, bed=bed, **told)

    return await once(request, caller, raw, work)


@router.post("/api/beds/{bed}/look", openapi_extra=bodies.described(bodies.Look))
async def look(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """The eye: what the leaves look like."""
    bed_in(desk, bed)
    sent, raw = await bodies.json_body(request, bodies.Look)

    async def work() -> Response:
        told = sent.model_dump()
        answer = await place(desk, caller, OrderKind.LOOK, bed=bed, **told)
        return record_response(answer, OrderKind.LOOK, caller, bed=bed, **told)

    return await once(request, caller, raw, work)


@router.delete("/api/beds/{bed}/look")
async def forget_looks(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """Undo what looks taught of this bed."""
    bed_in(desk, bed)
    return await plain(request, desk, caller, OrderKind.FORGET_LOOKS, bed)


@router.post("/api/beds/{bed}/stage", openapi_extra=bodies.described(bodies.Stage))
async def stage(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """A mark of the season: it outranks the degree-days."""
    bed_in(desk, bed)
    sent, raw = await bodies.json_body(request, bodies.Stage)

    async def work() -> Response:
        told = sent.model_dump()
        answer = await place(desk, caller, OrderKind.STAGE, bed=bed, **told)
        return record_response(answer, OrderKind.STAGE, caller, bed=bed, **told)

    return await once(request, caller, raw, work)


@router.delete("/api/beds/{bed}/stage", openapi_extra=bodies.described(bodies.Unstage))
async def forget_stage(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """Take a mark of the season back."""
    bed_in(desk, bed)
    sent, raw = await bodies.json_body(request, bodies.Unstage)

    async def work() -> Response:
        answer = await place(desk, caller, OrderKind.FORGET_STAGE, bed=bed, stage=sent.stage)
        return record_response(answer, OrderKind.FORGET_STAGE, caller, bed=bed, stage=sent.stage)

    return await once(request, caller, raw, work)
