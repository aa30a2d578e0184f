"""What the page's routes share: who looks, a page with a form key, a form with its key spent."""

from __future__ import annotations

from functools import partial
from typing import Any

from fastapi import Request
from starlette.responses import Response

from api import bodies, roles
from api.addresses import on_loopback
from api.desk import Desk
from api.orders import refusal
from api.page import front, plans, render
from api.problems import ProblemError, etag_of
from api.security import COOKIE, COOKIE_S, LOCAL, PAIRED, Caller, Doors
from controller.effects import Answer
from controller.us_units import Typed

PAIR_FIRST = (
    "This browser is not known yet. On the board run thirstline pair, and open the link that it "
    "prints."
)


def desk_of(request: Request) -> Desk:
    """The daemon."""
    desk: Desk = request.app.state.desk
    return desk


def doors_of(request: Request) -> Doors:
    """The doors."""
    doors: Doors = request.app.state.doors
    return doors


def known_reader(request: Request) -> Caller:
    """Who may look.

    Raises:
        ProblemError: 401, 403.
    """
    try:
        return doors_of(request).reader(request)
    except ProblemError as problem:
        detail = PAIR_FIRST if problem.status == 401 else problem.detail
        raise ProblemError(problem.status, detail, headers=problem.headers) from None


def keyed_page(
    request: Request, template: str, context: dict[str, Any], status: int = 200
) -> Response:
    """A page with a fresh form key; on loopback a browser without a cookie gets one here.

    Templates ask `may` before they offer what only an operator may do, and `paired` before what
    only a browser that was let in may do.
    """
    doors = doors_of(request)
    caller = known_reader(request)
    session, fresh = caller.session, ""
    if not session and on_loopback(request):
        fresh = doors.new_cookie(LOCAL)
        session = fresh.rpartition(".")[0]
    key = doors.new_form_key(session) if session else ""
    may = partial(roles.may, caller.role, "POST")
    shown = {**context, "key": key, "may": may, "paired": caller.session.startswith(f"{PAIRED}.")}
    answer = render.page(template, shown, status)
    if fresh:
        give_cookie(request, answer, fresh)
    return answer


def page_tag(request: Request, caller: Caller, *shown: str) -> str:
    """The entity tag of a page that this browser may keep; empty where it may not.

    Two browsers never share one, and a page whose form key was spent or is hours old is another.

    Args:
        request: of the page.
        caller: whose browser.
        shown: what the page depends on besides.
    """
    if not caller.session:
        return ""
    return etag_of(" ".join([caller.session, caller.role, doors_of(request).form_mark(), *shown]))


def kept_headers(tag: str) -> dict[str, str]:
    """The headers of a page that a browser may keep, if it asks each time before it shows it."""
    return {"ETag": tag, "Cache-Control": "private, no-cache", "Vary": "Cookie"}


def give_cookie(request: Request, answer: Response, value: str) -> None:
    """Let this browser be known; where it came over https, only over https."""
    secure = request.url.scheme == "https"
    answer.set_cookie(
        COOKIE, value, max_age=COOKIE_S, secure=secure, httponly=True, samesite="strict"
    )


async def sent_form(request: Request) -> tuple[Caller, dict[str, str]]:
    """The sender and the fields of a form, its key spent.

    Raises:
        ProblemError: 401, 403, 413, 415, 422, 429.
    """
    doors = doors_of(request)
    caller = doors.form_sender(request)
    doors.keep_pace(request, caller)
    form = await bodies.form_body(request)
    doors.spend_form_key(caller.session, form.pop("key", ""))
    return caller, form


def why_in(form: dict[str, str], *, needed: bool = False) -> str:
    """The reason typed into a form.

    Raises:
        ProblemError: 422.
    """
    why = form.get("why", "").strip()
    if len(why) > 200 or not all(letter.isprintable() for letter in why):
        raise ProblemError(422, "A reason is one line of at most 200 letters.")
    if needed and not why:
        raise ProblemError(422, "Say why, in a few words.")
    return why


def said_page(
    request: Request, answer: Answer, done: str, *typed: Typed, verbatim: bool = False
) -> Response:
    """What became of an order, in words.

    Args:
        request: of the form.
        answer: the engine's.
        done: the sentence where it was taken, metric.
        typed: amounts of the form, which are said back as they were typed.
        verbatim: whether `done` holds words of the person's own, which stay as they are.
    """
    desk = desk_of(request)
    tongue = front.tongue_of(desk.view())
    problem = refusal(answer)
    lines = [done] if problem is None else [tongue.said(problem.detail, *typed)]
    if problem is None and not verbatim:
        lines = [tongue.said(done, *typed)]
    if problem is not None:
        possible = plans.possible_words(answer, tongue)
        lines += [possible] if possible else []
    title = "Done" if problem is None else "Refused"
    status = 200 if problem is None else problem.status
    return keyed_page(request, "said.html", {"title": title, "lines": lines}, status)
