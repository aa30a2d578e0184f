"""What somebody tells of a bed, on the page: soil felt by hand, leaves seen, water poured."""

from __future__ import annotations

from collections.abc import Iterable

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.orders import bed_in, place
from api.page import front
from api.page.felt import felt_words, looks_words, poured_words, worth_words
from api.page.parts import desk_of, keyed_page, known_reader, said_page, sent_form
from api.page.typed import DEPTH, VOLUME, in_form
from api.page.words import bed_name
from api.problems import ProblemError
from controller.events import OrderKind
from controller.watering.eye import MORNING_ENDS_H, When, when_by_clock

FEELS = {
    "dry": ("Dry", "it crumbles and leaves no mark on the hand"),
    "just_moist": ("Just moist", "it holds together and leaves the hand damp"),
    "wet": ("Wet", "it is dark and water shows when it is pressed"),
}
DEPTHS = {"depth": (10, 20, 30, 40, 50, 60), "inches": (4, 8, 12, 16, 20, 24)}  # in their units
DEPTH_MOST_CM = 100.0
LEAVES = {"0": "upright", "1": "slightly rolled", "2": "limp"}
NOW = "now"  # seen just now: the engine goes by the garden's clock, however old the page is
WHENS = frozenset({NOW, *When})
EVENING_H = 17  # local: from here on nobody calls it midday


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
    state, tongue = bed_in(desk, bed), front.tongue_of(desk.view())
    deep = DEPTH.unit(us=tongue.us)
    context = {
        "title": f"Tell of {bed_name(bed)}",
        "bed": bed,
        "feels": FEELS,
        "deep": deep,
        "depths": DEPTHS[deep.field],
        "water": VOLUME.unit(us=tongue.us),
        "leaves": LEAVES,
        "whens": whens(tongue.local(tongue.now_utc_s).hour),
        "felt": felt_words(state, tongue),
        "looks": looks_words(state),
        "worth": worth_words(state),
        "poured": poured_words(state, tongue),
    }
    return keyed_page(request, "hand.html", context)


def whens(hour: int) -> dict[str, str]:
    """When leaves may have been seen, what is likeliest first.

    Args:
        hour: of the local day [0..23].
    """
    if when_by_clock(hour) is When.MORNING:
        return {NOW: "just now, in the morning", When.MIDDAY: "at midday"}
    part = "at midday" if hour < EVENING_H else "in the evening"
    return {
        NOW: f"just now, {part}",
        When.MORNING: f"this morning, before {MORNING_ENDS_H}:00",
    }


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
    deep = in_form(DEPTH, form, "depth", DEPTH_MOST_CM)
    answer = await place(desk, caller, OrderKind.SOIL, bed=bed, feel=feel, depth_cm=deep.si)
    return said_page(request, answer, answer.text, deep)


async def do_look(request: Request, bed: str) -> Response:
    """Tell what the leaves look like."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed_in(desk, bed)
    leaves = int(_one_of(form, "leaves", LEAVES, "Choose upright, slightly rolled or limp."))
    when = _one_of(form, "when", WHENS, "Choose just now, morning or midday.")
    answer = await place(
        desk, caller, OrderKind.LOOK, bed=bed, leaves=leaves, when="" if when == NOW else when
    )
    return said_page(request, answer, answer.text)


async def do_forget_looks(request: Request, bed: str) -> Response:
    """Undo what looks taught."""
    desk = desk_of(request)
    caller, _ = await sent_form(request)
    bed_in(desk, bed)
    answer = await place(desk, caller, OrderKind.FORGET_LOOKS, bed=bed)
    return said_page(request, answer, answer.text)
