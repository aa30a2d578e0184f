"""What somebody tells of a bed, on the page: soil felt by hand, leaves seen, water poured."""

from __future__ import annotations

from collections.abc import Iterable

from fastapi import APIRouter, Request
from starlette.responses import Response

from api import bodies
from api.orders import bed_in, place
from api.page import front
from api.page.felt import felt_words, looks_words, poured_words
from api.page.parts import desk_of, keyed_page, known_reader, said_page, sent_form
from api.page.words import bed_name
from api.problems import ProblemError
from controller.events import OrderKind

FEELS = {
    "dry": ("Dry", "it crumbles and leaves no mark on the hand"),
    "just_moist": ("Just moist", "it holds together and leaves the hand damp"),
    "wet": ("Wet", "it is dark and water shows when it is pressed"),
}
DEPTHS_CM = (10, 20, 30, 40, 50, 60)
LEAVES = {"0": "upright", "1": "slightly rolled", "2": "limp"}
WHENS = {"morning": "in the morning", "midday": "at midday"}


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.get("/beds/{bed}/hand")(hand_page)
    router.post("/do/beds/{bed}/soil")(do_soil)
    router.post("/do/beds/{bed}/look")(do_look)
    router.post("/do/beds/{bed}/look/forget")(do_forget_looks)


async def hand_page(request: Request, bed: str) -> Response:
    """Ask what somebody felt or saw."""
    known_reader(request)
    desk = desk_of(request)
    state = bed_in(desk, bed)
    context = {
        "title": f"Tell of {bed_name(bed)}",
        "bed": bed,
        "feels": FEELS,
        "depths": DEPTHS_CM,
        "leaves": LEAVES,
        "whens": WHENS,
        "felt": felt_words(state, front.tongue_of(desk.view())),
        "looks": looks_words(state),
        "poured": poured_words(state, front.tongue_of(desk.view())),
    }
    return keyed_page(request, "hand.html", context)


def _one_of(form: dict[str, str], field: str, allowed: Iterable[str], refused: str) -> str:
    told = form.get(field, "")
    if told not in allowed:
        raise ProblemError(422, refused)
    return told


async def do_soil(request: Request, bed: str) -> Response:
    """Tell what the soil feels like."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed_in(desk, bed)
    feel = _one_of(form, "feel", FEELS, "Choose dry, just moist or wet.")
    depth_cm = bodies.amount(form.get("depth", ""), "depth in cm", 100.0)
    answer = await place(desk, caller, OrderKind.SOIL, bed=bed, feel=feel, depth_cm=depth_cm)
    return said_page(request, answer, answer.text)


async def do_look(request: Request, bed: str) -> Response:
    """Tell what the leaves look like."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed_in(desk, bed)
    leaves = int(_one_of(form, "leaves", LEAVES, "Choose upright, slightly rolled or limp."))
    when = _one_of(form, "when", WHENS, "Choose morning or midday.")
    answer = await place(desk, caller, OrderKind.LOOK, bed=bed, leaves=leaves, when=when)
    return said_page(request, answer, answer.text)


async def do_forget_looks(request: Request, bed: str) -> Response:
    """Undo what looks taught."""
    desk = desk_of(request)
    caller, _ = await sent_form(request)
    bed_in(desk, bed)
    answer = await place(desk, caller, OrderKind.FORGET_LOOKS, bed=bed)
    return said_page(request, answer, answer.text)
