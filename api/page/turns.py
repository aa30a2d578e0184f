"""Water poured by hand and a turn to be missed, on the page."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.orders import bed_in, place
from api.page.parts import desk_of, said_page, sent_form
from api.page.typed import VOLUME, in_form
from controller.events import OrderKind

POURED_MOST_L = 99_999.0


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.post("/do/beds/{bed}/poured")(do_poured)
    router.post("/do/beds/{bed}/poured/forget")(do_forget_poured)
    router.post("/do/beds/{bed}/miss")(do_miss)
    router.post("/do/beds/{bed}/miss/forget")(do_forget_miss)


async def do_poured(request: Request, bed: str) -> Response:
    """Tell what was poured by hand."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed_in(desk, bed)
    much = in_form(VOLUME, form, "", POURED_MOST_L)
    answer = await place(desk, caller, OrderKind.POURED, bed=bed, litres=much.si)
    return said_page(request, answer, answer.text, much)


async def do_forget_poured(request: Request, bed: str) -> Response:
    """Take back what was told as poured."""
    return await _plain(request, bed, OrderKind.FORGET_POURED)


async def do_miss(request: Request, bed: str) -> Response:
    """Leave the next watering out."""
    return await _plain(request, bed, OrderKind.MISS)


async def do_forget_miss(request: Request, bed: str) -> Response:
    """Give the turn back."""
    return await _plain(request, bed, OrderKind.FORGET_MISS)


async def _plain(request: Request, bed: str, what: OrderKind) -> Response:
    desk = desk_of(request)
    caller, _ = await sent_form(request)
    bed_in(desk, bed)
    answer = await place(desk, caller, what, bed=bed)
    return said_page(request, answer, answer.text)
