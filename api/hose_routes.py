"""Other hands on the water, told over HTTP: a hose that will run, and whose flow it is."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Request
from pydantic import Field
from starlette.responses import Response

from api import bodies
from api.asks import TheDesk, Writer, once, plain
from api.orders import place, record_response
from controller.events import OrderKind
from controller.watering.hose import HOSE_MOST_S

router = APIRouter()


class Hose(bodies.Sent):
    """For how many minutes other water may flow behind the meter."""

    minutes: Annotated[float, Field(gt=0.0, le=HOSE_MOST_S / 60.0)]


class Flow(bodies.Sent):
    """Whether the flow that is asked about is ours."""

    ours: bool


@router.put("/api/hose", openapi_extra=bodies.described(Hose))
async def hose(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """Other water is about to flow behind the meter: no leak, and it latches nothing."""
    sent, raw = await bodies.json_body(request, Hose)

    async def work() -> Response:
        answer = await place(desk, caller, OrderKind.HOSE, open_s=60.0 * sent.minutes)
        return record_response(answer, OrderKind.HOSE, caller, minutes=sent.minutes)

    return await once(request, caller, raw, work)


@router.delete("/api/hose")
async def hose_off(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """The hose is off: flow is watched again."""
    return await plain(request, desk, caller, OrderKind.HOSE_END)


@router.post("/api/flow", openapi_extra=bodies.described(Flow))
async def flow(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """Say whether the flow that is asked about is ours; nobody's is a leak."""
    sent, raw = await bodies.json_body(request, Flow)

    async def work() -> Response:
        answer = await place(desk, caller, OrderKind.FLOW_ANSWER, yes=sent.ours)
        return record_response(answer, OrderKind.FLOW_ANSWER, caller, ours=sent.ours)

    return await once(request, caller, raw, work)
