"""What a person says of water, told over HTTP: poured by hand, a turn to miss, a tank filled."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from api import bodies
from api.asks import TheDesk, Writer, once, plain
from api.orders import bed_in, place, record_response
from controller.events import OrderKind

router = APIRouter()


@router.post("/api/beds/{bed}/poured", openapi_extra=bodies.described(bodies.Poured))
async def poured(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """So many litres were poured by hand, by can or hose: they enter the balance."""
    bed_in(desk, bed)
    sent, raw = await bodies.json_body(request, bodies.Poured)

    async def work() -> Response:
        told = sent.model_dump()
        answer = await place(desk, caller, OrderKind.POURED, bed=bed, **told)
        return record_response(answer, OrderKind.POURED, caller, bed=bed, **told)

    return await once(request, caller, raw, work)


@router.delete("/api/beds/{bed}/poured")
async def forget_poured(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """Take back the last that was told as poured, within a day."""
    bed_in(desk, bed)
    return await plain(request, desk, caller, OrderKind.FORGET_POURED, bed)


@router.post("/api/beds/{bed}/miss")
async def miss(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """Miss this turn: the bed's next watering is left out, one night."""
    bed_in(desk, bed)
    return await plain(request, desk, caller, OrderKind.MISS, bed)


@router.delete("/api/beds/{bed}/miss")
async def forget_miss(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """Give the bed its turn back."""
    bed_in(desk, bed)
    return await plain(request, desk, caller, OrderKind.FORGET_MISS, bed)


@router.put("/api/tank", openapi_extra=bodies.described(bodies.Tank, required=False))
async def tank(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """The tank was filled, or somebody read how much is in it."""
    sent, raw = await bodies.json_body(request, bodies.Tank)

    async def work() -> Response:
        told = sent.model_dump()
        answer = await place(desk, caller, OrderKind.TANK, **told)
        return record_response(answer, OrderKind.TANK, caller, **told)

    return await once(request, caller, raw, work)
