"""The tank on the page: what it holds by its count, and a form that says what it holds now."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.orders import place
from api.page import front
from api.page.parts import desk_of, keyed_page, known_reader, said_page, sent_form
from api.page.typed import VOLUME, in_form
from api.page.words import number
from api.problems import ProblemError
from controller.events import OrderKind

TANK_MOST_L = 500_000.0


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.get("/tank")(tank_page)
    router.post("/do/tank")(do_tank)


async def tank_page(request: Request) -> Response:
    """Show what the tank holds by its count, and ask what it holds now."""
    known_reader(request)
    view = desk_of(request).view()
    supply, tongue = view.get("supply") or {}, front.tongue_of(view)
    tank_l, left_l = number(supply.get("tank_l")), number(supply.get("tank_left_l"))
    if tank_l is None or left_l is None:
        raise ProblemError(404, "The garden file names no tank.")
    context = {
        "title": "The tank",
        "full": tongue.litres(tank_l),
        "left": tongue.litres(left_l),
        "water": VOLUME.unit(us=tongue.us),
    }
    return keyed_page(request, "tank.html", context)


async def do_tank(request: Request) -> Response:
    """The tank is full, or holds so many litres."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    typed = form.get("gallons", form.get("litres", "")).strip()
    if form.get("full") == "1":
        answer = await place(desk, caller, OrderKind.TANK, litres=None)
        return said_page(request, answer, answer.text)
    if typed in {"0", "0.0", "0,0"}:
        answer = await place(desk, caller, OrderKind.TANK, litres=0.0)
        return said_page(request, answer, answer.text)
    much = in_form(VOLUME, form, "", TANK_MOST_L)
    answer = await place(desk, caller, OrderKind.TANK, litres=much.si)
    return said_page(request, answer, answer.text, much)
