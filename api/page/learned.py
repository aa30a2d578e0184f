"""What a bed learned of itself, in plain words, and a form that lets it forget."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.orders import bed_in, place
from api.page import front
from api.page.parts import desk_of, keyed_page, known_reader, said_page, sent_form, why_in
from api.page.teachings import sentences
from api.page.words import bed_name
from controller.events import OrderKind


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.get("/beds/{bed}/learned")(learned_page)
    router.post("/do/beds/{bed}/forget")(do_forget)


async def learned_page(request: Request, bed: str) -> Response:
    """Say what a bed learned, and what forgetting would do."""
    known_reader(request)
    desk = desk_of(request)
    state = bed_in(desk, bed)
    context = {
        "title": f"What {bed_name(bed)} learned",
        "bed": bed,
        "name": bed_name(bed),
        "lines": sentences(state, front.tongue_of(desk.view())),
    }
    return keyed_page(request, "learned.html", context)


async def do_forget(request: Request, bed: str) -> Response:
    """Let a bed begin anew."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed_in(desk, bed)
    answer = await place(desk, caller, OrderKind.FORGET, bed=bed, why=why_in(form))
    return said_page(request, answer, answer.text)
