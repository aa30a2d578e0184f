"""The sky on the page: what rain and heat are to come, by whose word, and a form to type it."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.orders import place
from api.page import front
from api.page.parts import desk_of, keyed_page, known_reader, said_page, sent_form
from api.page.words import DAYS, HOUR_S, RISING_HOUR, Tongue, utc_s_of
from api.problems import ProblemError
from controller.events import OrderKind, OutlookSpan
from controller.telling.sky_orders import RAIN_MOST_MM

NIGHTS = 4
NOON = 12
SIGNED = re.compile(r"-?[0-9]{1,4}(\.[0-9]{1,3})?")
MM_PER_IN = 25.4
COLDEST_C, HOTTEST_C = -45.0, 60.0


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.get("/sky")(sky_page)
    router.post("/do/sky")(do_sky)
    router.post("/do/sky/forget")(do_forget)


def nights(tongue: Tongue) -> list[tuple[str, float, float]]:
    """The nights that are asked for: name, begin and end [s, Unix].

    The first runs from now to the noon after the next sunrise, the others from noon to noon.
    """
    now = tongue.local(tongue.now_utc_s)
    morning = now.date() + timedelta(days=0 if now.hour < RISING_HOUR else 1)
    ends = [_noon_utc_s(tongue, morning + timedelta(days=n)) for n in range(NIGHTS)]
    begins = [tongue.now_utc_s, *ends]
    names = ["tonight, until noon"]
    names += [f"the night to {DAYS[tongue.local(end_s).weekday()]}" for end_s in ends[1:]]
    return list(zip(names, begins, ends, strict=False))


def _noon_utc_s(tongue: Tongue, day: date) -> float:
    return datetime.combine(day, time(NOON), tongue.zone).timestamp()


async def sky_page(request: Request) -> Response:
    """Show what is foretold and by whom; ask for the next nights."""
    known_reader(request)
    view = desk_of(request).view()
    tongue = front.tongue_of(view)
    told = view.get("sky", {}).get("foretold", {})
    context = {
        "title": "The sky to come",
        "said": tongue.said(told.get("text", "")),
        "typed": told.get("from") == "typed",
        "spans": [_shown(tongue, span) for span in told.get("spans", [])],
        "nights": [name for name, _, _ in nights(tongue)],
        "first": _first_noon(tongue),
        "units": _units(tongue),
    }
    return keyed_page(request, "sky.html", context)


def _first_noon(tongue: Tongue) -> str:
    """What tells one day's form from another's."""
    return f"{nights(tongue)[0][2]:.0f}"


def _units(tongue: Tongue) -> tuple[str, str]:
    """Of rain and heat, as this garden is spoken of."""
    return ("in", "°F") if tongue.us else ("mm", "°C")


def _shown(tongue: Tongue, span: dict[str, Any]) -> str:
    begins_s = utc_s_of(span["from"]) or 0.0
    ends_s = begins_s + HOUR_S * span["hours"]
    rain = f"{tongue.value('rain_mm', span['rain_mm'])} at {100.0 * span['chance']:.0f} %"
    ends_c = [tongue.temp(span[key]) for key in ("tmin_c", "tmax_c") if span[key] is not None]
    heat = f", {' to '.join(ends_c)}" if ends_c else ""
    by = "typed" if span["by"] == "typed" else "by the forecast that a script sends"
    return f"{tongue.when(begins_s)} to {tongue.when(ends_s)}: {rain}{heat} ({by})"


async def do_sky(request: Request) -> Response:
    """Take the nights that were filled in."""
    caller, form = await sent_form(request)
    tongue = front.tongue_of(desk_of(request).view())
    if form.get("first") != _first_noon(tongue):
        raise ProblemError(422, "This form is of another day: its nights moved on. Load it anew.")
    rows = [_row(form, n, night, us=tongue.us) for n, night in enumerate(nights(tongue))]
    spans = tuple(row for row in rows if row is not None)
    if not spans:
        raise ProblemError(422, "Fill in one night at least, 0 of rain where none is to come.")
    answer = await place(desk_of(request), caller, OrderKind.OUTLOOK, spans=spans)
    return said_page(request, answer, answer.text)


async def do_forget(request: Request) -> Response:
    """Take the typed sky back."""
    caller, _ = await sent_form(request)
    answer = await place(desk_of(request), caller, OrderKind.FORGET_OUTLOOK)
    return said_page(request, answer, answer.text)


def _row(
    form: dict[str, str], n: int, night: tuple[str, float, float], *, us: bool
) -> OutlookSpan | None:
    """One night of the form; None where nothing was filled in."""
    name, from_s, to_s = night
    typed = {key: form.get(f"{key}{n}", "").strip() for key in ("mm", "odds", "low", "high")}
    if not any(typed.values()):
        return None
    rain_mm = _rain_mm(typed["mm"], f"rain of {name}", us=us)
    odds_pct = _number(typed["odds"], f"odds of {name}", 0.0, 100.0, "%")
    low_c = _temp_c(typed["low"], f"lowest of {name}", us=us)
    high_c = _temp_c(typed["high"], f"highest of {name}", us=us)
    if odds_pct is not None and rain_mm is None:
        raise ProblemError(422, f"The odds of {name} stand without their rain.")
    if low_c is not None and high_c is not None and low_c > high_c:
        raise ProblemError(422, f"The lowest of {name} is above its highest.")
    return OutlookSpan(
        from_utc_s=from_s,
        hours=(to_s - from_s) / HOUR_S,
        rain_mm=rain_mm or 0.0,
        chance_frac=1.0 if odds_pct is None else odds_pct / 100.0,
        tmin_c=low_c,
        tmax_c=high_c,
    )


def _rain_mm(text: str, name: str, *, us: bool) -> float | None:
    if not us:
        return _number(text, name, 0.0, RAIN_MOST_MM, "mm")
    found_in = _number(text, name, 0.0, RAIN_MOST_MM / MM_PER_IN, "in")
    return None if found_in is None else round(MM_PER_IN * found_in, 2)


def _temp_c(text: str, name: str, *, us: bool) -> float | None:
    if not us:
        return _number(text, name, COLDEST_C, HOTTEST_C, "°C")
    found_f = _number(text, name, 32.0 + 1.8 * COLDEST_C, 32.0 + 1.8 * HOTTEST_C, "°F")
    return None if found_f is None else round((found_f - 32.0) / 1.8, 2)


def _number(text: str, name: str, least: float, most: float, unit: str) -> float | None:
    """A typed number with its bounds; None where nothing was typed."""
    plain = text.replace(",", ".").replace("−", "-")
    if not plain:
        return None
    value = float(plain) if SIGNED.fullmatch(plain) else None
    if value is None or not least <= value <= most:
        raise ProblemError(
            422,
            f"The {name} must be a number from {least:g} to {most:g} {unit}, without the unit.",
        )
    return value
