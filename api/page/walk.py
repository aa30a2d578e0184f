"""The commissioning walk on the page: what it does, what it asks, and what came of each valve."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from api.orders import bed_in, place
from api.page import front
from api.page.parts import desk_of, keyed_page, known_reader, said_page, sent_form
from api.page.words import bed_name, utc_s_of
from api.problems import ProblemError
from controller.events import OrderKind
from controller.proving.walk_orders import DEVICES

NOTHING: dict[str, Any] = {"now": None, "beds": {}, "said": "", "backflow": None, "proof": {}}


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.get("/walk")(walk_page)
    router.post("/do/walk")(do_walk)
    router.post("/do/walk/answer")(do_answer)
    router.post("/do/walk/backflow")(do_backflow)
    router.post("/do/walk/end")(do_end)


async def walk_page(request: Request) -> Response:
    """Show the walk and each valve; ask what it asks."""
    known_reader(request)
    view = desk_of(request).view()
    told: dict[str, Any] = {**NOTHING, **view.get("walk", {})}
    now = told["now"]
    proof, last = told["proof"], told["proof"].get("last")
    tongue = front.tongue_of(view)
    due_s = utc_s_of(proof["due_from"]) if proof.get("due_from") else None
    context = {
        "title": "Walk the valves",
        "now": now and {**now, "text": tongue.said(now["text"])},
        "asks": now["asks"] if now else None,
        "asked": bed_name(now["asks"]) if now and now["asks"] else "",
        "said": tongue.said(told["said"]),
        "beds": [
            (bed, bed_name(bed), tongue.said(row["text"])) for bed, row in told["beds"].items()
        ],
        "backflow": told["backflow"]["text"] if told["backflow"] else "",
        "devices": list(DEVICES.items()),
        "proved": "" if last is None else tongue.said(last["text"]),
        "needed": told.get("needed", True),
        "due": "" if due_s is None else tongue.when(due_s),
    }
    return keyed_page(request, "walk.html", context)


async def do_walk(request: Request) -> Response:
    """Begin the walk, or go on with it."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed = form.get("bed") or None
    if bed is not None:
        bed_in(desk, bed)
    answer = await place(desk, caller, OrderKind.WALK, bed=bed, yes=False)
    if answer.status == "accepted" and answer.reason == "walking":
        request.app.state.told = None  # what was closed is opened on purpose
        return _back_to_it()
    return said_page(request, answer, answer.text)


def _back_to_it() -> Response:
    return RedirectResponse("/walk", 303, {"Cache-Control": "no-store"})


async def do_answer(request: Request) -> Response:
    """Whether the right bed got wet."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed, right = form.get("bed", ""), form.get("right", "")
    bed_in(desk, bed)
    if right not in {"yes", "no"}:
        raise ProblemError(422, "Say yes or no.")
    answer = await place(desk, caller, OrderKind.WALK_ANSWER, bed=bed, yes=right == "yes")
    return _back_to_it() if answer.status == "accepted" else said_page(request, answer, answer.text)


async def do_backflow(request: Request) -> Response:
    """Which backflow device is fitted, and when it was tested."""
    caller, form = await sent_form(request)
    device, on = form.get("device", "")[:40], form.get("tested", "").strip()[:10]
    answer = await place(desk_of(request), caller, OrderKind.WALK_BACKFLOW, device=device, on=on)
    return said_page(request, answer, answer.text)


async def do_end(request: Request) -> Response:
    """End the walk under way."""
    caller, _ = await sent_form(request)
    answer = await place(desk_of(request), caller, OrderKind.WALK_END)
    return said_page(request, answer, answer.text)
