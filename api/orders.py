"""From a person's order to the engine's answer, and what HTTP makes of it.

Repeats are made harmless by an `Idempotency-Key`: the first answer is kept with the method, path
and body that it belongs to, and given again; by the engine too, so that it holds over a restart.
"""

from __future__ import annotations

import asyncio
import hashlib
import inspect
import logging
import re
import secrets
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any

from fastapi import Request
from starlette.responses import Response

from api.desk import Desk
from api.problems import ProblemError, json_response, problem_response
from api.roles import NOT_A_HELPERS, OPERATOR
from api.security import Caller
from controller.effects import Answer
from controller.events import OrderKind
from controller.telling.pause_orders import PAUSE_STANDS
from controller.telling.repeats import keyed_id

log = logging.getLogger(__name__)

KEYS_MOST = 32  # answers kept for repeats, of one caller: another's stay, however many one sends
CALLERS_MOST = 64  # whose answers are kept: more than may come in at once
STOP_WITHIN_S = 2.0  # [s] a stop is answered within this
_ORDER_ID: ContextVar[str] = ContextVar("order_id", default="")  # of a request with a key
KEY_FORM = re.compile(r"[\x21-\x7e]{1,128}")

_STATUS = {"invalid": 422, "unknown": 404, "unrecorded": 503, "refused": 409}
_SAID = {
    "invalid": "The order is malformed.",
    "unknown": "There is no such bed or alert.",
    "unrecorded": "The order cannot be recorded, so nothing opens. Closing still works.",
    "refused": "The order is refused; the reason says why.",
}


def rfc3339(utc_s: float | None) -> str | None:
    """Unix seconds as an RFC 3339 instant with Z."""
    if utc_s is None:
        return None
    try:
        at = datetime.fromtimestamp(utc_s, UTC)
    except (ValueError, OverflowError, OSError):
        return None
    return at.isoformat(timespec="seconds").replace("+00:00", "Z")


def now_utc_s(desk: Desk) -> float:
    """The garden's own now: it may run faster than ours on a bench."""
    return datetime.fromisoformat(desk.view()["at"]).timestamp()


def bed_in(desk: Desk, bed: str) -> dict[str, Any]:
    """The view of one bed.

    Raises:
        ProblemError: 404.
    """
    beds: dict[str, dict[str, Any]] = desk.view()["beds"]
    if bed not in beds:
        raise ProblemError(404, "There is no such bed.")
    return beds[bed]


async def place(desk: Desk, caller: Caller, what: OrderKind, **fields: object) -> Answer:
    """Put one order to the engine and log who gave it.

    Args:
        desk: the daemon.
        caller: who gives it.
        what: the kind.
        fields: the fields of `Order` that are not at rest.

    Raises:
        ProblemError: 503 where no answer comes in time; whether the order holds is unknown.
    """
    order: dict[str, Any] = {
        "order": _ORDER_ID.get() or f"o-{secrets.token_hex(6)}",
        "what": what,
        "who": caller.who,
        "bed": None,
        "litres": None,
        "open_s": None,
        "refill": False,
        "until_utc_s": None,
        "why": "",
        "alert": None,
        **fields,
    }
    if what is OrderKind.PAUSE:
        order["only_longer"] = caller.role != OPERATOR
    try:
        answer = await desk.order(order)
    except TimeoutError:
        log.warning("order %s by %s: no answer from the engine", what.value, caller.who)
        raise ProblemError(
            503, "The engine did not answer. Look at the log before ordering again."
        ) from None
    log.info("order %s of bed %s by %s: %s", what.value, order["bed"], caller.who, answer.status)
    return answer


async def stop(desk: Desk, caller: Caller, bed: str | None) -> Answer:
    """Close now, past every queue.

    Raises:
        ProblemError: 503 where the engine does not confirm.
    """
    log.info("stop of %s by %s", bed or "every valve", caller.who)
    try:
        async with asyncio.timeout(STOP_WITHIN_S):
            answer = desk.stop_now(bed, caller.who)
            return await answer if inspect.isawaitable(answer) else answer
    except TimeoutError:
        log.exception("stop by %s was not confirmed by the engine", caller.who)
        raise ProblemError(503, "The engine did not confirm. Shut the tap by hand.") from None


def refusal(answer: Answer) -> ProblemError | None:
    """What is wrong, None where the order was accepted."""
    if answer.status == "accepted":
        return None
    if answer.reason == PAUSE_STANDS:
        return ProblemError(403, answer.text, more={"title": NOT_A_HELPERS})
    if answer.status != "refused":
        return ProblemError(_STATUS[answer.status], answer.text or _SAID[answer.status])
    more: dict[str, object] = {
        "reason": answer.reason,
        "allowed_litres": answer.allowed_l,
        "next_possible": rfc3339(answer.next_possible_utc_s),
    }
    return ProblemError(409, answer.text or _SAID["refused"], more=more)


def water_response(answer: Answer) -> Response:
    """202 with the dose, or the refusal."""
    problem = refusal(answer)
    if problem is not None:
        return problem_response(problem)
    seconds = answer.open_s
    return json_response(
        {
            "dose": answer.dose,
            "litres": answer.litres,
            "seconds": seconds if seconds is None else round(seconds, 1),
        },
        status=202,
    )


def record_response(answer: Answer, what: OrderKind, caller: Caller, **fields: object) -> Response:
    """200 with the record made, or the refusal."""
    problem = refusal(answer)
    if problem is not None:
        return problem_response(problem)
    record = {"order": answer.order, "what": what.value, "who": caller.who, **fields}
    return json_response({**record, "text": answer.text})


Work = Callable[[], Awaitable[Response]]
Kept = OrderedDict[str, tuple[bytes, asyncio.Future[Response]]]  # by key, the oldest first


class Repeats:
    """Answers kept for repeats, at most `KEYS_MOST` of each caller."""

    def __init__(self) -> None:
        self._callers: OrderedDict[str, Kept] = OrderedDict()

    async def once(self, request: Request, caller: Caller, raw: bytes, work: Work) -> Response:
        """Do the work, or give the answer of the time before.

        Args:
            request: may carry `Idempotency-Key`.
            caller: keys of different callers never meet.
            raw: the body.
            work: what is done the first time.

        Raises:
            ProblemError: 422 for a key that belongs to another request, or is no key.
        """
        key = request.headers.get("idempotency-key")
        if key is None:
            return await work()
        if not KEY_FORM.fullmatch(key):
            raise ProblemError(422, "An Idempotency-Key has 1 to 128 printable ASCII characters.")
        meant = f"{request.method} {request.url.path}\n".encode() + raw
        print_ = hashlib.sha256(meant).digest()
        slot = (f"{caller.who} {caller.session}", key)
        kept = self._kept_of(slot[0])
        if key in kept:
            known, future = kept[key]
            if known != print_:
                raise ProblemError(422, "This Idempotency-Key belongs to another request.")
            return await asyncio.shield(future)
        order_id = _ORDER_ID.set(keyed_id(slot, meant))
        try:
            return await self._first(kept, key, print_, work)
        finally:
            _ORDER_ID.reset(order_id)

    def _kept_of(self, caller: str) -> Kept:
        """The answers of one caller; whoever asked last stays longest."""
        kept = self._callers.setdefault(caller, OrderedDict())
        self._callers.move_to_end(caller)
        if len(self._callers) > CALLERS_MOST:
            self._callers.popitem(last=False)
        return kept

    async def _first(self, kept: Kept, key: str, print_: bytes, work: Work) -> Response:
        future: asyncio.Future[Response] = asyncio.get_running_loop().create_future()
        kept[key] = (print_, future)
        if len(kept) > KEYS_MOST:
            kept.popitem(last=False)
        try:
            response = await work()
        except ProblemError as problem:
            # what became of it is unknown: a repeat must not do it again
            response = problem_response(problem)
        except BaseException as exc:
            kept.pop(key, None)
            future.set_exception(ProblemError(503, "The first request with this key did not end."))
            future.exception()  # nobody may be waiting
            raise exc from None
        else:
            if response.status_code == _STATUS["unrecorded"]:
                kept.pop(key, None)  # nothing was done, so it may be tried again
        future.set_result(response)
        return response
