"""Phones on the page: which browsers are in, and a code that lets one more in.

Only a browser that was let in as an operator's may see this page and make a code: no helper, and
no browser on the board that nobody paired (there `thirstline pair` asks for the token). A code
works once, for three minutes, and no browser keeps the page that shows it. The log has who made it.
"""

from __future__ import annotations

import logging
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from api import roles
from api.code_drawing import svg
from api.orders import place, rfc3339
from api.page import front
from api.page.parts import desk_of, doors_of, keyed_page, known_reader, said_page, sent_form
from api.page.words import Tongue, duration, utc_s_of
from api.problems import ProblemError
from api.security import PAIRED, Caller
from controller.events import OrderKind
from controller.telling.pair_orders import ID, NAME_MOST, PAIRS_MOST, pairs_json

log = logging.getLogger(__name__)

LIVES_S = 180.0  # [s] both phones are here; the command's code lives for ten minutes
NO_PHONE = ("http://127.", "http://localhost", "http://[::1]")
ON_THE_BOARD = (
    "Only a browser that was let in itself can let another one in. On the board run "
    "thirstline pair, and open the link that it prints."
)
AS = {
    roles.HELPER: "a helper: looks, feels soil, stops, pauses, tells what was poured",
    roles.OPERATOR: "an operator: may do everything, also water and let others in",
}


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.get("/phones")(phones_page)
    router.post("/do/phones")(do_let_in)
    router.post("/do/phones/{pair}/withdraw")(do_withdraw)


def _let_in_itself(caller: Caller) -> None:
    """Refuse everybody but a paired operator.

    Raises:
        ProblemError: 403.
    """
    roles.operators_only(caller.role)
    if not caller.session.startswith(f"{PAIRED}."):
        raise ProblemError(403, ON_THE_BOARD, more={"title": "Not from here"})


async def phones_page(request: Request) -> Response:
    """Which browsers are in, and a form for one more."""
    caller = known_reader(request)
    _let_in_itself(caller)
    desk = desk_of(request)
    tongue = front.tongue_of(desk.view())
    told = pairs_json(dict(desk.pairs()), rfc3339)
    context = {
        "title": "Phones",
        "phones": [_phone(one, caller, tongue) for one in told],
        "reachable": not str(request.app.state.link_base).startswith(NO_PHONE),
        "full": len(told) >= PAIRS_MOST,
        "most": PAIRS_MOST,
        "roles": AS,
        "name_most": NAME_MOST,
        "code": None,
    }
    return keyed_page(request, "phones.html", context)


def _phone(one: dict[str, Any], caller: Caller, tongue: Tongue) -> tuple[str, str, bool]:
    """A paired browser: its id, what is said of it, and whether it is this one."""
    since_s = utc_s_of(one["since"])
    since = "" if since_s is None else f", in since {tongue.when(since_s)}"
    name = one["name"] or "Unnamed phone"
    return one["id"], f"{name}, {one['role']}{since}", caller.who.split()[1] == one["id"]


async def do_let_in(request: Request) -> Response:
    """Make a code and draw it for the other phone's camera."""
    caller, form = await sent_form(request)
    _let_in_itself(caller)
    role, name = form.get("role", ""), form.get("name", "").strip()
    if role not in AS:
        raise ProblemError(422, "Choose helper or operator.")
    if len(name) > NAME_MOST or not name.isprintable():
        raise ProblemError(422, f"A name is one line of at most {NAME_MOST} letters.")
    if len(desk_of(request).pairs()) >= PAIRS_MOST:
        raise ProblemError(409, f"{PAIRS_MOST} browsers are paired: withdraw one first.")
    base = str(request.app.state.link_base)
    if base.startswith(NO_PHONE):
        raise ProblemError(409, "This page is shown on the board only: no phone reaches it.")
    code = doors_of(request).issue_code(role, name, LIVES_S)
    log.info("a code for a browser (%s) was made by %s", role, caller.who)
    link = f"{base}/open?code={code}"
    context = {
        "title": "Let a phone in",
        "code": svg(link, "A code for the other phone's camera"),
        "link": link,
        "role": AS[role],
        "name": name,
        "lives": duration(LIVES_S),
    }
    return keyed_page(request, "phones.html", context)


async def do_withdraw(request: Request, pair: str) -> Response:
    """Let a paired browser in no more."""
    caller, _ = await sent_form(request)
    _let_in_itself(caller)
    if not ID.fullmatch(pair):
        raise ProblemError(404, "There is no such phone.")
    answer = await place(desk_of(request), caller, OrderKind.UNPAIR, pair=pair)
    return said_page(request, answer, answer.text, verbatim=True)
