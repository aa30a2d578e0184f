"""Other hands on the water, on the page: a hose announced, and the question whose flow it is."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from api import bodies
from api.orders import place
from api.page import front
from api.page.holds import hose_until
from api.page.parts import desk_of, keyed_page, known_reader, said_page, sent_form
from api.page.words import duration
from api.problems import ProblemError
from controller.events import OrderKind
from controller.watering.hose import HOSE_MOST_S


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.get("/hose")(hose_page)
    router.post("/do/hose")(do_hose)
    router.post("/do/hose/end")(do_end)
    router.post("/do/flow")(do_flow)


async def hose_page(request: Request) -> Response:
    """Ask for how long other water will run."""
    known_reader(request)
    view = desk_of(request).view()
    context = {
        "title": "A hose will run",
        "until": hose_until(view, front.tongue_of(view)),
        "most": duration(HOSE_MOST_S),
    }
    return keyed_page(request, "hose.html", context)


async def do_hose(request: Request) -> Response:
    """Announce it."""
    caller, form = await sent_form(request)
    minutes = bodies.amount(form.get("minutes", ""), "minutes", HOSE_MOST_S / 60.0)
    answer = await place(desk_of(request), caller, OrderKind.HOSE, open_s=60.0 * minutes)
    return said_page(request, answer, answer.text)


async def do_end(request: Request) -> Response:
    """The hose is off."""
    caller, _ = await sent_form(request)
    answer = await place(desk_of(request), caller, OrderKind.HOSE_END)
    return said_page(request, answer, answer.text)


async def do_flow(request: Request) -> Response:
    """Somebody's water, or nobody's."""
    caller, form = await sent_form(request)
    told = form.get("ours", "")
    if told not in {"0", "1"}:
        raise ProblemError(422, "Say whether it was you, or nobody.")
    answer = await place(desk_of(request), caller, OrderKind.FLOW_ANSWER, yes=told == "1")
    return said_page(request, answer, answer.text)
