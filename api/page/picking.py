"""Picks on the page: planned, told, taken back; and a few words for the season book."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from api import bodies
from api.orders import bed_in, place
from api.page import front
from api.page.parts import desk_of, keyed_page, known_reader, said_page, sent_form
from api.page.typed import MASS, in_form
from api.page.words import bed_name
from api.problems import ProblemError
from controller.events import OrderKind

KG_MOST = 1000.0
FRUIT_MOST = 10_000.0
WORDS_MOST = 400


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.get("/beds/{bed}/pick")(pick_page)
    router.post("/do/beds/{bed}/pick")(do_pick)
    router.post("/do/beds/{bed}/pick/plan")(do_plan)
    router.post("/do/beds/{bed}/pick/forget")(do_forget)
    router.post("/do/beds/{bed}/note")(do_note)


async def pick_page(request: Request, bed: str) -> Response:
    """Ask what was picked, or when it will be."""
    known_reader(request)
    desk = desk_of(request)
    state = bed_in(desk, bed)
    tongue = front.tongue_of(desk.view())
    today = tongue.local(tongue.now_utc_s).date()
    context: dict[str, Any] = {
        "title": f"Picking {bed_name(bed)}",
        "bed": bed,
        "fruit": MASS.unit(us=tongue.us),
        "today": today.isoformat(),
        "tomorrow": (today + timedelta(days=1)).isoformat(),
        "planned": list(state.get("picks") or ()),
        "varieties": list(state.get("varieties") or ()),
    }
    return keyed_page(request, "picking.html", context)


def _day(form: dict[str, str]) -> str:
    try:
        return date.fromisoformat(form.get("on", "").strip()).isoformat()
    except ValueError:
        raise ProblemError(422, "A day is written like 2026-06-12.") from None


def _fruit(form: dict[str, str], field: str, name: str) -> int:
    told = form.get(field, "").strip()
    if told in {"", "0"}:
        return 0
    many = bodies.amount(told, name, FRUIT_MOST)
    if many != int(many):
        raise ProblemError(422, f"The {name} are counted: a whole number.")
    return int(many)


async def do_pick(request: Request, bed: str) -> Response:
    """Tell what was picked."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed_in(desk, bed)
    weight = in_form(MASS, form, "weight", KG_MOST)
    fields = {
        "on": _day(form),
        "kg": weight.si,
        "cracked": _fruit(form, "cracked", "cracked fruit"),
        "black_ended": _fruit(form, "black_ended", "fruit with a black end"),
        "variety": form.get("variety", "").strip()[:60],
    }
    answer = await place(desk, caller, OrderKind.PICK, bed=bed, **fields)
    return said_page(request, answer, answer.text, weight)


async def do_plan(request: Request, bed: str) -> Response:
    """Plan a pick."""
    return await _of_a_day(request, bed, OrderKind.PICK)


async def do_forget(request: Request, bed: str) -> Response:
    """Take a plan, or the last pick of a day, back."""
    return await _of_a_day(request, bed, OrderKind.FORGET_PICK)


async def _of_a_day(request: Request, bed: str, what: OrderKind) -> Response:
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed_in(desk, bed)
    answer = await place(desk, caller, what, bed=bed, on=_day(form))
    return said_page(request, answer, answer.text)


async def do_note(request: Request, bed: str) -> Response:
    """Write a few words into the season book."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed_in(desk, bed)
    words = " ".join(form.get("text", "").split())
    if not 0 < len(words) <= WORDS_MOST:
        raise ProblemError(422, f"A note has 1 to {WORDS_MOST} letters.")
    answer = await place(desk, caller, OrderKind.NOTE, bed=bed, text=words)
    return said_page(request, answer, answer.text, verbatim=True)
