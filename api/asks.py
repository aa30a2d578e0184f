"""What the routes of the API ask for: the desk, a known caller, and orders done once."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Depends, Request
from starlette.responses import Response

from api import bodies
from api.desk import Desk
from api.orders import Repeats, Work, place, record_response
from api.security import Caller, Doors
from controller.events import OrderKind


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


def _doors(request: Request) -> Doors:
    doors: Doors = request.app.state.doors
    return doors


async def asked_reader(request: Request) -> Caller:
    """Who may read."""
    return _doors(request).reader(request)


async def _writer(request: Request) -> Caller:
    return _doors(request).writer(request)


async def _stopper(request: Request) -> Caller:
    return _doors(request).stopper(request)


Reader = Annotated[Caller, Depends(asked_reader)]
Writer = Annotated[Caller, Depends(_writer)]
Stopper = Annotated[Caller, Depends(_stopper)]
TheDesk = Annotated[Desk, Depends(_desk)]


async def once(request: Request, caller: Caller, raw: bytes, work: Work) -> Response:
    """Do the work, or give the answer of the time before (`Idempotency-Key`)."""
    repeats: Repeats = request.app.state.repeats
    return await repeats.once(request, caller, raw, work)


async def plain(
    request: Request,
    desk: Desk,
    caller: Caller,
    what: OrderKind,
    bed: str | None = None,
    **fields: Any,  # noqa: ANN401 - as `place`
) -> Response:
    """An order with nothing but its reason, and what the route itself tells."""
    sent, raw = await bodies.json_body(request, bodies.Nothing)

    async def work() -> Response:
        answer = await place(desk, caller, what, bed=bed, why=sent.why, **fields)
        return record_response(answer, what, caller, bed=bed, why=sent.why)

    return await once(request, caller, raw, work)
