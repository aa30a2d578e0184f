"""What lets go on by itself: a pause that ends, a stop that is over."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.orders import bed_in, place
from api.page.parts import desk_of, said_page, sent_form, why_in
from api.page.words import bed_name
from controller.events import OrderKind


def add_to(router: APIRouter) -> None:
    """Add the routes of this part of the page."""
    router.post("/do/beds/{bed}/resume")(do_resume)
    router.post("/do/resume")(do_resume_all)
    router.post("/do/beds/{bed}/go-on")(do_go_on)
    router.post("/do/go-on")(do_go_on_all)


async def do_resume(request: Request, bed: str) -> Response:
    """End one bed's pause."""
    return await _let(request, bed)


async def do_resume_all(request: Request) -> Response:
    """End the garden's pause."""
    return await _let(request)


async def do_go_on(request: Request, bed: str) -> Response:
    """Let one stopped bed go on by itself."""
    return await _let(request, bed, yes=True)


async def do_go_on_all(request: Request) -> Response:
    """Let the stopped garden go on by itself."""
    return await _let(request, yes=True)


async def _let(request: Request, bed: str | None = None, **fields: bool) -> Response:
    """Say it in the engine's words: a stop may still hold after a pause, a pause after a stop."""
    caller, form = await sent_form(request)
    desk = desk_of(request)
    if bed is not None:
        bed_in(desk, bed)
    answer = await place(desk, caller, OrderKind.RESUME, bed=bed, why=why_in(form), **fields)
    name = "" if bed is None else f"{bed_name(bed)}: "
    return said_page(request, answer, f"{name}{answer.text}")
