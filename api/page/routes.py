"""The page's routes: one to look, a few that say what an order will do, `/do/*` that does it."""

from __future__ import annotations

import asyncio
import math
import time
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from api import bodies
from api.addresses import on_loopback
from api.orders import bed_in, now_utc_s, place, refusal, rfc3339, stop
from api.page import front, plans, render
from api.page.advice import lifted
from api.page.felt import miss_words
from api.page.holds import runs
from api.page.parts import (
    desk_of,
    doors_of,
    give_cookie,
    kept_headers,
    keyed_page,
    known_reader,
    page_tag,
    said_page,
    sent_form,
    why_in,
)
from api.page.told import Told, is_over, told_words
from api.page.typed import VOLUME, amount_of
from api.page.words import DAY_S, bed_name, duration, utc_s_of
from api.problems import ProblemError, is_known
from api.roles import HELPER, TELLING
from api.security import Caller
from controller.events import OrderKind

PAUSE_DAYS = (1, 3, 7)
WATER_MOST_L = 99_999.0
FULL_BELOW_L = 0.5  # [L] a refill that would be told as 0 L
PAUSE_MOST_S = 120.0 * DAY_S  # [s] a pause typed on the page; a season's end is far enough


def routes() -> APIRouter:
    """All routes of the page."""
    router = APIRouter(include_in_schema=False)
    router.get("/")(front_page)
    router.get("/static/{name}")(static_file)
    router.get("/open")(open_with_code)
    router.get("/beds/{bed}/water")(water_page)
    router.get("/beds/{bed}/pause")(pause_page)
    router.get("/pause")(pause_all_page)
    router.get("/lock")(lock_page)
    router.get("/alerts/{alert}/clear")(clear_page)
    router.post("/do/stop")(do_stop)
    router.post("/do/beds/{bed}/stop")(do_stop_bed)
    router.post("/do/beds/{bed}/water")(do_water)
    router.post("/do/beds/{bed}/pause")(do_pause)
    router.post("/do/pause")(do_pause_all)
    router.post("/do/lock")(do_lock)
    router.post("/do/unlock")(do_unlock)
    router.post("/do/alerts/{alert}/clear")(do_clear)
    return router


# -- looking


async def front_page(request: Request, span: str = "10") -> Response:
    """The garden; 304 where this browser holds it as it is."""
    caller = known_reader(request)
    chosen = span if span in front.SPANS else "10"
    desk, app = desk_of(request), request.app

    def said_now() -> tuple[str, str]:
        view = desk.view()
        told: Told | None = getattr(app.state, "told", None)
        if told is not None and is_over(view, told, time.monotonic()):
            app.state.told = told = None  # and it stays so once that has closed again
        said = told_words(view, told, front.tongue_of(view), time.monotonic())
        return desk.version(), said

    version, said = await asyncio.to_thread(said_now)
    tag = page_tag(request, caller, version, chosen, said)
    if tag and is_known(request, tag):
        return Response(status_code=304, headers=kept_headers(tag))
    # pictures and record are read beside the event loop: a stop never waits for them
    context = await asyncio.to_thread(front.context, desk, chosen)
    title = context["garden"]["name"]
    answer = keyed_page(request, "front.html", {**context, "title": title, "said": said})
    if tag:
        answer.headers.update(kept_headers(tag))
    return answer


async def static_file(name: str) -> Response:
    """Style, script, picture."""
    found = render.static(name)
    if found is None:
        raise ProblemError(404, "There is no such file.")
    return found


async def open_with_code(request: Request, code: str = "") -> Response:
    """Trade a one-use code for this browser's cookie.

    The answer is a page and no redirect: a `SameSite=Strict` cookie is not sent along a redirect
    that began on somebody else's page, in a mail for instance.
    """
    doors = doors_of(request)
    offer = doors.redeem(request, code)
    pair, value, digest = doors.new_pairing()
    made = await place(
        desk_of(request),
        Caller(who="opened link", writes=True),
        OrderKind.PAIR,
        pair=pair,
        role=offer.role,
        name=offer.name,
        secret_sha256=digest,
    )
    problem = refusal(made)
    if problem is not None and made.status != "unrecorded":  # that one is paired until a restart
        raise problem
    answer = render.page(
        "opened.html", {"title": "Welcome", "helper": offer.role == HELPER, "telling": TELLING}
    )
    give_cookie(request, answer, value)
    return answer


# -- saying what an order will do


async def water_page(
    request: Request,
    bed: str,
    how: str = "",
    litres: str = "",
    gallons: str = "",
    minutes: str = "",
) -> Response:
    """Ask how much; once asked, say what it will do."""
    known_reader(request)
    desk = desk_of(request)
    state = bed_in(desk, bed)
    view = desk.view()
    tongue = front.tongue_of(view)
    refill = plans.refill_l(state)
    context: dict[str, Any] = {
        "title": f"Water {bed_name(bed)}",
        "bed": bed,
        "refill": None if refill is None else tongue.litres(refill),
        "full": refill is not None and refill < FULL_BELOW_L,
        "range": plans.range_words(view, bed, tongue),
        "barred": plans.barred(view, bed),
        "runs": runs(state),
        "water": VOLUME.unit(us=tongue.us),
        "how": "",
        "plan": [],
        "amount": "",
    }
    if how in {"refill", "litres", "gallons", "minutes"}:
        amount = {"litres": litres, "minutes": minutes}.get(how, "")
        if how == "gallons":  # what the next form carries is in litres
            how, amount = "litres", f"{_in_litres(gallons):.3f}"
        wanted = _wanted(how, amount)
        much = {"litres": wanted["litres"], "open_s": wanted["open_s"]}
        plan = plans.water_plan(view, bed, tongue, **much, garden=desk.setting)
        context |= {"how": how, "amount": amount, "plan": plan.lines, "possible": plan.possible}
        context["button"] = "Water now"
        if plan.amount_l is not None:
            context |= {"how": "litres", "amount": f"{plan.amount_l:.0f}"}
            context["button"] = f"Water {tongue.litres(plan.amount_l)}"
    return keyed_page(request, "water.html", context)


def _wanted(how: str, amount: str) -> dict[str, Any]:
    """A typed amount as fields of an order."""
    wanted: dict[str, Any] = {"litres": None, "open_s": None, "refill": how == "refill"}
    if how == "litres":
        wanted["litres"] = _amount(amount, "litres", WATER_MOST_L)
    elif how == "minutes":
        wanted["open_s"] = 60.0 * _amount(amount, "minutes", 9_999.0)
    elif how != "refill":
        raise ProblemError(422, "Choose a refill, litres or minutes.")
    return wanted


def _in_litres(gallons: str) -> float:
    most = math.floor(WATER_MOST_L / VOLUME.us.si_per_one)
    value = _amount(gallons, "gallons", float(most))
    return amount_of(VOLUME, VOLUME.us, value).si


def _amount(text: str, name: str, most: float) -> float:
    """A typed number, refused under a heading that says what is wrong with it."""
    try:
        return bodies.amount(text, name, most)
    except ProblemError as problem:
        digits = text.strip().removeprefix("-").replace(",", "").replace(".", "")
        title = "Not this much" if digits.isdecimal() else "Not a number"
        raise ProblemError(problem.status, problem.detail, more={"title": title}) from None


async def pause_page(request: Request, bed: str, days: str = "", until: str = "") -> Response:
    """Ask how long one bed is to pause; once asked, say what it will do."""
    bed_in(desk_of(request), bed)
    return _pause_page(request, bed, days, until)


async def pause_all_page(request: Request, days: str = "", until: str = "") -> Response:
    """Ask how long the garden is to pause."""
    return _pause_page(request, None, days, until)


def _pause_page(request: Request, bed: str | None, days: str, until: str) -> Response:
    known_reader(request)
    view = desk_of(request).view()
    tongue = front.tongue_of(view)
    context: dict[str, Any] = {
        "title": f"Pause {bed_name(bed)}" if bed else "Pause every bed",
        "at": f"/beds/{bed}" if bed else "",
        "choices": [
            (day, tongue.when(tongue.now_utc_s + day * DAY_S), duration(max(day, 2) * DAY_S))
            for day in PAUSE_DAYS
        ],
        "soonest": f"{tongue.local(tongue.now_utc_s):%Y-%m-%dT%H:%M}",
        "paused": view["holds"]["paused_until"] is not None,
        "zone": view["garden"]["timezone"],
        "missed": miss_words(view["beds"][bed]) if bed else "",
        "plan": [],
        "until": "",
    }
    if days or until:
        until_s = _until_utc_s(view, days, until)
        plan = plans.pause_plan(view, bed, tongue, until_s)
        context |= {"plan": plan, "until": rfc3339(until_s)}
    return keyed_page(request, "pause.html", context)


def _until_utc_s(view: dict[str, Any], days: str, until: str) -> float:
    """The end of a pause, from a number of days or a local time without a zone."""
    tongue = front.tongue_of(view)
    end_s = math.nan
    if days in {str(day) for day in PAUSE_DAYS}:
        end_s = tongue.now_utc_s + int(days) * DAY_S
    elif until:
        try:
            typed = datetime.fromisoformat(until)
            local = typed if typed.tzinfo else typed.replace(tzinfo=tongue.zone)
            end_s = local.timestamp()
        except (ValueError, OverflowError):
            end_s = math.nan
    if not 0.0 < end_s - tongue.now_utc_s <= PAUSE_MOST_S:
        raise ProblemError(422, "A pause ends at a time to come, within 120 days.")
    return end_s


async def lock_page(request: Request) -> Response:
    """Say what the lock does; ask why."""
    known_reader(request)
    holds = desk_of(request).view()["holds"]
    return keyed_page(request, "lock.html", {"title": "Work at the pipes", "holds": holds})


async def clear_page(request: Request, alert: str) -> Response:
    """Show one alert and ask why it can be lifted."""
    known_reader(request)
    view = desk_of(request).view()
    found = [row for row in view["alerts"] if row["id"] == alert]
    if not found:
        raise ProblemError(404, "This alert does not stand any more.")
    notice = front.notice(front.tongue_of(view), found[0])
    context = {"title": "Lift an alert", "notice": notice, "lifted": lifted(found[0])}
    return keyed_page(request, "clear.html", context)


# -- doing it


async def do_stop(request: Request) -> Response:
    """Close every valve."""
    return await _stop(request, None)


async def do_stop_bed(request: Request, bed: str) -> Response:
    """Close one valve."""
    bed_in(desk_of(request), bed)
    return await _stop(request, bed)


async def _stop(request: Request, bed: str | None) -> Response:
    """Close: a known browser is enough, and a form that was sent before closes again."""
    doors = doors_of(request)
    doors.check_origin(request)
    caller = doors.stopper(request) if on_loopback(request) else doors.form_sender(request)
    desk = desk_of(request)
    answer = await stop(desk, caller, bed)
    if refusal(answer) is None:
        request.app.state.told = Told(bed=bed, at_utc_s=now_utc_s(desk), mono_s=time.monotonic())
        return RedirectResponse("/", 303, {"Cache-Control": "no-store"})
    return said_page(request, answer, "")


async def do_water(request: Request, bed: str) -> Response:
    """Water by hand."""
    desk = desk_of(request)
    caller, form = await sent_form(request)
    bed_in(desk, bed)
    wanted = _wanted(form.get("how", ""), form.get("amount", ""))
    answer = await place(desk, caller, OrderKind.WATER, bed=bed, **wanted)
    if refusal(answer) is None:
        request.app.state.told = None  # what was closed is opened on purpose
    tongue = front.tongue_of(desk.view())
    much = "" if answer.litres is None else f" {tongue.litres(answer.litres)}"
    long = "" if answer.open_s is None else f", about {duration(answer.open_s)} of open valve"
    return said_page(request, answer, f"{bed_name(bed)} gets{much or ' water'}{long}.")


async def do_pause(request: Request, bed: str) -> Response:
    """Pause one bed."""
    return await _pause(request, bed)


async def do_pause_all(request: Request) -> Response:
    """Pause every bed."""
    return await _pause(request, None)


async def _pause(request: Request, bed: str | None) -> Response:
    desk = desk_of(request)
    caller, form = await sent_form(request)
    if bed is not None:
        bed_in(desk, bed)
    until_s = utc_s_of(form.get("until", ""))
    if until_s is None or not 0.0 < until_s - now_utc_s(desk) <= PAUSE_MOST_S:
        raise ProblemError(422, "A pause ends at a time to come, within 120 days.")
    answer = await place(
        desk, caller, OrderKind.PAUSE, bed=bed, until_utc_s=until_s, why=why_in(form)
    )
    until = front.tongue_of(desk.view()).when(until_s)
    return said_page(
        request, answer, f"{bed_name(bed) if bed else 'Every bed'} pauses until {until}."
    )


async def _simple(request: Request, what: OrderKind, done: str, bed: str | None = None) -> Response:
    caller, form = await sent_form(request)
    if bed is not None:
        bed_in(desk_of(request), bed)
    why = why_in(form, needed=what is OrderKind.LOCK)
    return said_page(request, await place(desk_of(request), caller, what, bed=bed, why=why), done)


async def do_lock(request: Request) -> Response:
    """Lock for people at the pipes."""
    said = "Locked. Every valve was told to close; see the page for which are proved closed."
    return await _simple(request, OrderKind.LOCK, said)


async def do_unlock(request: Request) -> Response:
    """Lift the lock."""
    return await _simple(request, OrderKind.UNLOCK, "Unlocked. The garden goes on by itself.")


async def do_clear(request: Request, alert: str) -> Response:
    """Lift an alert."""
    caller, form = await sent_form(request)
    why = why_in(form, needed=True)
    answer = await place(desk_of(request), caller, OrderKind.CLEAR, alert=alert, why=why)
    return said_page(request, answer, "Lifted.")
