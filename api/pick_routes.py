"""The season book over HTTP: picks planned and done, a few words, and the whole of it."""

from __future__ import annotations

import asyncio
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import Response

from api import bodies
from api.asks import TheDesk, Writer, asked_reader, once
from api.orders import bed_in, now_utc_s, place, record_response
from api.problems import ProblemError, json_response
from controller.events import OrderKind

SEASON_MOST_S = 400 * 86_400.0

router = APIRouter()
Instant = Annotated[str | None, Query(max_length=40)]


@router.get("/api/season", dependencies=[Depends(asked_reader)])
async def season(
    desk: TheDesk, from_: Annotated[Instant, Query(alias="from")] = None, to: Instant = None
) -> Response:
    """The season added up: water, rain, dry dawns, looks, picks; from the first planting on."""
    from_utc_s = bodies.instant_utc_s(from_) if from_ else None
    to_utc_s = bodies.instant_utc_s(to) if to else None
    ends_s = now_utc_s(desk) if to_utc_s is None else to_utc_s
    if from_utc_s is not None and not 0.0 < ends_s - from_utc_s <= SEASON_MOST_S:
        raise ProblemError(422, "`from` must lie before `to`, at most 400 days.")
    return json_response(await asyncio.to_thread(desk.season, from_utc_s, to_utc_s))


@router.post("/api/beds/{bed}/pick", openapi_extra=bodies.described(bodies.Pick))
async def pick(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """Plan a pick on a day to come, or tell one: kg, and how many fruit cracked or went black."""
    bed_in(desk, bed)
    sent, raw = await bodies.json_body(request, bodies.Pick)
    return await _told(request, desk, caller, bed, OrderKind.PICK, sent, raw)


@router.delete("/api/beds/{bed}/pick", openapi_extra=bodies.described(bodies.Unpick))
async def forget_pick(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """Take a planned pick back, or else the last one told of that day."""
    bed_in(desk, bed)
    sent, raw = await bodies.json_body(request, bodies.Unpick)
    return await _told(request, desk, caller, bed, OrderKind.FORGET_PICK, sent, raw)


@router.post("/api/beds/{bed}/note", openapi_extra=bodies.described(bodies.Words))
async def note(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """A few words for the season book."""
    bed_in(desk, bed)
    sent, raw = await bodies.json_body(request, bodies.Words)
    return await _told(request, desk, caller, bed, OrderKind.NOTE, sent, raw)


async def _told(
    request: Request,
    desk: TheDesk,
    caller: Writer,
    bed: str,
    what: OrderKind,
    sent: bodies.Sent,
    raw: bytes,
) -> Response:
    told = sent.model_dump()

    async def work() -> Response:
        answer = await place(desk, caller, what, bed=bed, **told)
        if "text" in told:  # the answer's own words come under that name
            return record_response(answer, what, caller, bed=bed)
        return record_response(answer, what, caller, bed=bed, **told)

    return await once(request, caller, raw, work)
