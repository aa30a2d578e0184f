"""Marks of the season on the page: first flower, set, colour, topped, last pick."""

from __future__ import annotations

from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.orders import bed_in, place
from api.page import front
from api.page.felt import MARK_WORDS
from api.page.parts import desk_of, keyed_page, known_reader, said_page, sent_form
from api.page.words import Tongue, bed_name
from api.problems import ProblemError
from controller.events import OrderKind


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.get("/beds/{bed}/stage")(marks_page)
    router.post("/do/beds/{bed}/stage")(do_mark)
    router.post("/do/beds/{bed}/stage/forget")(do_unmark)


async def marks_page(request: Request, bed: str) -> Response:
    """Show the marks of a bed and ask for another."""
    known_reader(request)
    desk = desk_of(request)
    state = bed_in(desk, bed)
    tongue = front.tongue_of(desk.view())
    context = {
        "title": f"The season of {bed_name(bed)}",
        "bed": bed,
        "stage": str(state.get("stage", "")).replace("_", " "),
        "events": MARK_WORDS,
        "marks": _marks(state, tongue),
        "today": f"{tongue.local(tongue.now_utc_s):%Y-%m-%d}",
    }
    return keyed_page(request, "marks.html", context)


def _marks(state: dict[str, Any], tongue: Tongue) -> list[tuple[str, str, str]]:
    """Event, its words and its day, in the order of the season."""
    told = state.get("marks") or {}
    return [(name, words, told[name]) for name, words in MARK_WORDS.items() if name in told]


def _event(form: dict[str, str]) -> str:
    event = form.get("stage", "")
    if event not in MARK_WORDS:
        raise ProblemError(422, "Choose what you saw.")
    return event


async def do_mark(request: Request, bed: str) -> Response:
    """Mark what was seen of the season."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed_in(desk, bed)
    event, on = _event(form), form.get("on", "").strip()
    try:
        day = date.fromisoformat(on).isoformat() if on else ""
    except ValueError:
        raise ProblemError(422, "A day is written like 2026-06-12.") from None
    answer = await place(desk, caller, OrderKind.STAGE, bed=bed, stage=event, on=day)
    return said_page(request, answer, answer.text)


async def do_unmark(request: Request, bed: str) -> Response:
    """Take a mark back."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed_in(desk, bed)
    answer = await place(desk, caller, OrderKind.FORGET_STAGE, bed=bed, stage=_event(form))
    return said_page(request, answer, answer.text)
