"""Who may come in besides the token: one-use codes made, paired browsers listed and withdrawn."""

from __future__ import annotations

import logging
from typing import Annotated, Literal

from fastapi import APIRouter, Path, Request
from pydantic import Field
from starlette.responses import Response

from api import bodies, roles
from api.addresses import split_host
from api.asks import Reader, TheDesk, Writer, once
from api.orders import place, record_response, rfc3339
from api.problems import ProblemError, json_response
from api.security import CODE_S
from controller.events import OrderKind
from controller.telling.pair_orders import NAME_MOST, PAIRS_MOST, pairs_json

log = logging.getLogger(__name__)

router = APIRouter()

PairId = Annotated[str, Path(pattern=r"^[0-9a-f]{8}$")]


class Pair(bodies.Sent):
    """As what a browser is to come in, and whose it is."""

    role: Literal["operator", "helper"] = "operator"
    name: Annotated[str, Field(max_length=NAME_MOST, pattern=r"^[^\x00-\x1f\x7f]*$")] = ""


def link_base(url: str, names: tuple[str, ...], *, loopback_only: bool) -> str:
    """The address that a phone can reach the page under.

    Args:
        url: where the page listens.
        names: listed names, the first of which is meant for people.
        loopback_only: whether it listens on this machine only.
    """
    split = split_host(names[0]) if names else None
    if loopback_only or split is None:
        return url
    name, port = split
    port = port or int(url.rpartition(":")[2])
    return f"http://{f'[{name}]' if ':' in name else name}:{port}"


@router.get("/api/pairs")
async def pairs(desk: TheDesk, caller: Reader) -> Response:
    """The paired browsers; what they hold is kept as a hash and never shown."""
    roles.operators_only(caller.role)
    return json_response({"pairs": pairs_json(dict(desk.pairs()), rfc3339)})


@router.post("/api/pairs", openapi_extra=bodies.described(Pair, required=False))
async def make_code(request: Request, desk: TheDesk, caller: Writer) -> Response:
    """Make a link with a one-use code that lets one browser in. Needs the token itself."""
    if not caller.by_token:
        raise ProblemError(403, "A code is made with the operator's token: thirstline pair.")
    sent, raw = await bodies.json_body(request, Pair)

    async def work() -> Response:
        if len(desk.pairs()) >= PAIRS_MOST:
            raise ProblemError(409, f"{PAIRS_MOST} browsers are paired: withdraw one first.")
        code = request.app.state.issue_code(sent.role, sent.name)
        log.info("a code for a browser (%s) was made by %s", sent.role, caller.who)
        link = f"{request.app.state.link_base}/open?code={code}"
        text = f"Opened within {CODE_S / 60.0:.0f} min, once, this lets one browser in."
        return json_response(
            {"link": link, "role": sent.role, "name": sent.name, "seconds": CODE_S, "text": text}
        )

    return await once(request, caller, raw, work)


@router.delete("/api/pairs/{pair}")
async def withdraw(request: Request, desk: TheDesk, caller: Writer, pair: PairId) -> Response:
    """Let a paired browser in no more."""
    _, raw = await bodies.json_body(request, bodies.Nothing)

    async def work() -> Response:
        answer = await place(desk, caller, OrderKind.UNPAIR, pair=pair)
        return record_response(answer, OrderKind.UNPAIR, caller, pair=pair)

    return await once(request, caller, raw, work)
