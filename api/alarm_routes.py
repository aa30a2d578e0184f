"""How alarms get out of the house, over HTTP: which ways are set, and a test of each."""

from __future__ import annotations

import asyncio
import logging
from typing import Any, Protocol

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from api import bodies
from api.asks import Writer, asked_reader, once
from api.orders import rfc3339
from api.problems import ProblemError, json_response
from controller.alarming.reports import ItsUseError, WayReport

log = logging.getLogger(__name__)

router = APIRouter()


class Alarms(Protocol):
    """The alarms as the web sees them."""

    def test(self) -> list[WayReport]:
        """Send a test by every way; it takes up to a minute and a half.

        Raises:
            ItsUseError: another test is under way.
        """

    def report(self) -> dict[str, Any]:
        """The ways that are set, and how they fare.

        ways [words], lines {way: (waiting, cause of failing or "", last out [s, Unix] or None)},
        quiet, weekly.
        """


class NoAlarms:
    """Alarms of a garden that sets no way out."""

    def test(self) -> list[WayReport]:
        """Say that nothing is set."""
        return [
            WayReport(way=way, outcome="not_set", text=f"[alarm] {way} is not set.")
            for way in ("mail", "command")
        ]

    def report(self) -> dict[str, Any]:
        """Say that nothing is set."""
        return {"ways": [], "lines": {}, "quiet": "22:00-07:00", "weekly": "sun"}


def alarms_of(request: Request) -> Alarms:
    """The alarms."""
    alarms: Alarms = request.app.state.alarms
    return alarms


async def tested(request: Request, who: str) -> list[WayReport]:
    """Send a test by every way, away from the loop that serves.

    Raises:
        ProblemError: 409 while another test is under way, or just was.
    """
    log.info("test of the alarms by %s", who)
    try:
        return await asyncio.to_thread(alarms_of(request).test)
    except ItsUseError as exc:
        raise ProblemError(409, str(exc)) from None


def summary(reports: list[WayReport]) -> str:
    """What a test came to, in one sentence."""
    failed = [report.way for report in reports if report.outcome == "failed"]
    out = [r.way for r in reports if r.outcome == "delivered" and r.way in {"mail", "command"}]
    if failed:
        return f"It does not get out by {' and '.join(failed)}."
    if not out:
        return "No way out of the house is set: only the page and MQTT have the alerts."
    return f"It got out by {' and '.join(out)}. Look whether it arrived."


@router.get("/api/alarm", dependencies=[Depends(asked_reader)])
async def alarm(request: Request) -> Response:
    """By which ways alarms get out, and how these fare."""
    told = alarms_of(request).report()
    lines = {
        way: {"waiting": waiting, "failing": failing, "last_out": rfc3339(out_utc_s)}
        for way, (waiting, failing, out_utc_s) in told["lines"].items()
    }
    return json_response({**told, "lines": lines})


@router.post("/api/alarm/test")
async def alarm_test(request: Request, caller: Writer) -> Response:
    """Send a test by every way that is set, and say what became of each."""
    _, raw = await bodies.json_body(request, bodies.Nothing)

    async def work() -> Response:
        reports = await tested(request, caller.who)
        ways = [{"way": r.way, "outcome": r.outcome, "text": r.text} for r in reports]
        return json_response({"ways": ways, "text": summary(reports)})

    return await once(request, caller, raw, work)
