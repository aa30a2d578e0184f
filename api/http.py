"""The web application: read, order, observe.

`create_app` puts the pieces together around a desk (the daemon). Reads are cheap and polled with an
ETag; orders go to the engine and come back with its answer; closing waits for nothing else. No
streaming answers and nothing at start or end of the application's life: an open stream would keep
a shutdown waiting.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Iterable
from typing import Annotated, Any

from fastapi import APIRouter, Depends, FastAPI, Query, Request
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import Response

from api import (
    alarm_routes,
    bodies,
    hand_routes,
    hose_routes,
    outlook_routes,
    page,
    pair_routes,
    pick_routes,
    problems,
    turn_routes,
    walk_routes,
)
from api.addresses import on_loopback
from api.asks import Stopper, TheDesk, Writer, asked_reader, once, plain
from api.description import whole
from api.desk import Desk
from api.gate import Gate
from api.orders import (
    Repeats,
    bed_in,
    now_utc_s,
    place,
    record_response,
    refusal,
    rfc3339,
    stop,
    water_response,
)
from api.problems import ProblemError, etag_of, is_known, json_response
from api.security import Caller, Doors
from api.thinning import thinned
from controller.events import OrderKind
from controller.store_reads import LOG_LIMIT

TOLD_ROUTERS = tuple(
    part.router
    for part in (
        hand_routes,
        turn_routes,
        pick_routes,
        alarm_routes,
        walk_routes,
        hose_routes,
        outlook_routes,
        pair_routes,
    )
)
HISTORY_DAYS = 10.0  # what is shown where no `from` is given
HISTORY_MOST_S = 400 * 86_400.0
LOG_ROWS = 200
PACKED_LEAST_BYTES = 1000  # shorter answers fit into one packet as they are

Digits = Annotated[str | None, Query(pattern=r"^[0-9]{1,15}$")]
Instant = Annotated[str | None, Query(max_length=40)]


def create_app(
    desk: Desk,
    *,
    token: str,
    names: Iterable[str] = (),
    loopback_only: bool = True,
    monotonic: Callable[[], float] = time.monotonic,
    alarms: alarm_routes.Alarms | None = None,
) -> FastAPI:
    """The application for one daemon.

    Args:
        desk: the daemon.
        token: the operator's token; an empty one opens no door.
        names: host names and addresses that people type, besides those of loopback.
        loopback_only: whether it listens on loopback only; the API's own description is shown
            only then.
        monotonic: seconds of a real clock, for the time that wrong tokens shut an address out.
        alarms: the ways out of the house; None for none.

    Returns:
        The application; `app.state.issue_code()` makes a one-use code for `/open?code=`, and
        `app.state.link_base` is the address before it, for who puts the pieces together to set.
    """
    app = FastAPI(
        title="Thirstline",
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        redirect_slashes=False,
    )
    doors = Doors(token, names, monotonic, desk.pairs)
    app.state.desk = desk
    app.state.doors = doors
    app.state.alarms = alarms or alarm_routes.NoAlarms()
    app.state.repeats = Repeats()
    app.state.issue_code = doors.issue_code
    app.state.link_base = "http://localhost"
    problems.install(app, page.refused)
    for router in (_open_routes, _read_routes, _order_routes, *TOLD_ROUTERS, _stop_routes):
        app.include_router(router)
    app.include_router(page.routes())
    if loopback_only:
        _describe(app)
    _wrap(app, doors)
    return app


def _wrap(app: FastAPI, doors: Doors) -> None:
    """What stands around every route, the innermost first."""
    app.add_middleware(GZipMiddleware, minimum_size=PACKED_LEAST_BYTES, compresslevel=6)
    app.add_middleware(Gate, names=doors.names)


_open_routes = APIRouter()
_read_routes = APIRouter(dependencies=[Depends(asked_reader)])
_order_routes = APIRouter()
_stop_routes = APIRouter()


# -- reading


@_open_routes.get("/api/health")
async def health(desk: TheDesk) -> Response:
    """200 while the engine steps, else 503."""
    if not desk.healthy():
        raise ProblemError(503, "The engine does not step.")
    return json_response({"ok": True})


@_read_routes.get("/api/garden")
async def garden(request: Request, desk: TheDesk) -> Response:
    """The garden now; 304 where nothing changed since the caller's version."""
    etag = etag_of(desk.version())
    headers = {"ETag": etag, "Cache-Control": "no-cache"}
    if is_known(request, etag):
        return Response(status_code=304, headers=headers)
    return json_response(desk.view(), headers=headers)


@_read_routes.get("/api/log")
async def record(desk: TheDesk, after: Digits = None, limit: Digits = None) -> Response:
    """Decisions, waterings, orders and alerts, in pages, the oldest first."""
    most = int(limit or LOG_ROWS)
    if not 1 <= most <= LOG_LIMIT:
        raise ProblemError(422, f"`limit` is 1 to {LOG_LIMIT} rows.")
    rows = await asyncio.to_thread(desk.log, int(after or 0), most)
    last = rows[-1]["id"] if rows else int(after or 0)
    more = len(rows) == most and bool(await asyncio.to_thread(desk.log, last, 1))
    return json_response({"rows": rows, "after": last, "more": more})


@_read_routes.get("/api/beds/{bed}/history")
async def history(
    desk: TheDesk,
    bed: str,
    from_: Annotated[Instant, Query(alias="from")] = None,
    to: Instant = None,
    step: Digits = None,
) -> Response:
    """A bed's depletion, thirst line, rain and water; without `from`, the last ten days."""
    bed_in(desk, bed)
    to_utc_s = bodies.instant_utc_s(to) if to else now_utc_s(desk)
    from_utc_s = bodies.instant_utc_s(from_) if from_ else to_utc_s - HISTORY_DAYS * 86_400.0
    if not 0.0 < to_utc_s - from_utc_s <= HISTORY_MOST_S:
        raise ProblemError(422, "`from` must lie before `to`, at most 400 days.")
    kept = await asyncio.to_thread(desk.history, bed, from_utc_s, to_utc_s)
    rows = thinned(kept, float(step or 0))
    points = [{"at": rfc3339(row["at_utc_s"]), **_without_at(row)} for row in rows]
    return json_response(
        {"bed": bed, "from": rfc3339(from_utc_s), "to": rfc3339(to_utc_s), "points": points}
    )


def _without_at(row: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key != "at_utc_s"}


# -- ordering


@_order_routes.post(
    "/api/beds/{bed}/water", status_code=202, openapi_extra=bodies.described(bodies.Water)
)
async def water(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """Water by hand, inside the guard: litres, minutes or a refill."""
    bed_in(desk, bed)
    sent, raw = await bodies.json_body(request, bodies.Water)
    amount = sent.root
    fields: dict[str, Any] = {"refill": isinstance(amount, bodies.WaterRefill)}
    if isinstance(amount, bodies.WaterLitres):
        fields["litres"] = amount.litres
    if isinstance(amount, bodies.WaterMinutes):
        fields["open_s"] = amount.minutes * 60.0

    async def work() -> Response:
        return water_response(await place(desk, caller, OrderKind.WATER, bed=bed, **fields))

    return await once(request, caller, raw, work)


async def _pause(request: Request, desk: Desk, caller: Caller, bed: str | None) -> Response:
    sent, raw = await bodies.json_body(request, bodies.Pause)
    until_utc_s = sent.until.timestamp()
    if not until_utc_s > now_utc_s(desk):
        raise ProblemError(422, "`until` must lie in the future.")

    async def work() -> Response:
        answer = await place(
            desk, caller, OrderKind.PAUSE, bed=bed, until_utc_s=until_utc_s, why=sent.why
        )
        until = rfc3339(until_utc_s)
        return record_response(answer, OrderKind.PAUSE, caller, bed=bed, until=until, why=sent.why)

    return await once(request, caller, raw, work)


@_order_routes.put("/api/beds/{bed}/pause", openapi_extra=bodies.described(bodies.Pause))
async def pause_bed(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """No automatic watering of this bed until then."""
    bed_in(desk, bed)
    return await _pause(request, desk, caller, bed)


@_order_routes.delete("/api/beds/{bed}/pause")
async def resume_bed(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """End the pause of this bed."""
    bed_in(desk, bed)
    return await plain(request, desk, caller, OrderKind.RESUME, bed)


@_order_routes.delete("/api/beds/{bed}/stop")
async def go_on_bed(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """What a stop of this bed left is over: it goes on by itself."""
    bed_in(desk, bed)
    return await plain(request, desk, caller, OrderKind.RESUME, bed, yes=True)


@_order_routes.delete("/api/stop")
async def go_on_all(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """What stops left is over: every bed goes on by itself."""
    return await plain(request, desk, caller, OrderKind.RESUME, yes=True)


@_order_routes.post("/api/beds/{bed}/forget")
async def forget_bed(request: Request, desk: TheDesk, caller: Writer, bed: str) -> Response:
    """Let this bed forget what it learned of itself and begin anew."""
    bed_in(desk, bed)
    return await plain(request, desk, caller, OrderKind.FORGET, bed)


@_order_routes.put("/api/pause", openapi_extra=bodies.described(bodies.Pause))
async def pause_all(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """No automatic watering anywhere until then."""
    return await _pause(request, desk, caller, None)


@_order_routes.delete("/api/pause")
async def resume_all(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """End the garden's pause."""
    return await plain(request, desk, caller, OrderKind.RESUME)


@_order_routes.put("/api/lock", openapi_extra=bodies.described(bodies.Lock))
async def lock(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """People at the pipes: closed for everybody until a person lifts it."""
    sent, raw = await bodies.json_body(request, bodies.Lock)

    async def work() -> Response:
        answer = await place(desk, caller, OrderKind.LOCK, why=sent.why)
        return record_response(answer, OrderKind.LOCK, caller, why=sent.why)

    return await once(request, caller, raw, work)


@_order_routes.delete("/api/lock")
async def unlock(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """Lift the lock."""
    return await plain(request, desk, caller, OrderKind.UNLOCK)


@_order_routes.post("/api/alerts/{alert}/clear", openapi_extra=bodies.described(bodies.Clear))
async def clear(request: Request, desk: TheDesk, caller: Writer, alert: str) -> Response:
    """Lift a latch or a quarantine, with the reason why it is safe."""
    sent, raw = await bodies.json_body(request, bodies.Clear)
    stands = [row for row in desk.view()["alerts"] if row["id"] == alert]
    if any(row["person_needed"] for row in stands) and not sent.why.strip():
        raise ProblemError(422, "Say `why` it is safe to lift this.")

    async def work() -> Response:
        answer = await place(desk, caller, OrderKind.CLEAR, alert=alert, why=sent.why)
        return record_response(answer, OrderKind.CLEAR, caller, alert=alert, why=sent.why)

    return await once(request, caller, raw, work)


# -- closing: the body is not even read


async def _stop(request: Request, desk: Desk, caller: Caller, bed: str | None) -> Response:
    if bodies.has_body(request):
        bodies.check_length(request)
        bodies.check_type(request, bodies.JSON_TYPE)
    answer = await stop(desk, caller, bed)
    what = OrderKind.STOP if bed else OrderKind.STOP_ALL
    problem = refusal(answer)
    if problem is not None:
        raise problem
    return record_response(answer, what, caller, bed=bed)


@_stop_routes.post("/api/beds/{bed}/stop")
async def stop_bed(request: Request, desk: TheDesk, caller: Stopper, bed: str) -> Response:
    """Close this bed's valve now."""
    bed_in(desk, bed)
    return await _stop(request, desk, caller, bed)


@_stop_routes.post("/api/stop")
async def stop_all(request: Request, desk: TheDesk, caller: Stopper) -> Response:
    """Close every valve now."""
    return await _stop(request, desk, caller, None)


# -- the API's own description, on loopback only


def _describe(app: FastAPI) -> None:
    @app.get("/openapi.json", include_in_schema=False)
    async def openapi(request: Request) -> Response:
        _only_here(request)
        return json_response(whole(app))

    @app.get("/docs", include_in_schema=False)
    async def docs(request: Request) -> Response:
        _only_here(request)
        return page.docs(whole(app))


def _only_here(request: Request) -> None:
    if not on_loopback(request):
        raise ProblemError(404, "There is no such thing here.")
