"""Alarms on the page: by which ways they get out of the house, and a button that tries them."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.alarm_routes import alarms_of, summary, tested
from api.page import front
from api.page.parts import desk_of, keyed_page, known_reader, sent_form
from api.page.words import Tongue

WAYS = {"page": "Page", "mqtt": "MQTT", "mail": "Mail", "command": "Command"}
DAYS = {
    "mon": "Monday",
    "tue": "Tuesday",
    "wed": "Wednesday",
    "thu": "Thursday",
    "fri": "Friday",
    "sat": "Saturday",
    "sun": "Sunday",
}


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.get("/alarm")(alarm_page)
    router.post("/do/alarm/test")(do_test)


async def alarm_page(request: Request) -> Response:
    """Show the ways out and how they fare, and offer a test."""
    known_reader(request)
    told = alarms_of(request).report()
    tongue = front.tongue_of(desk_of(request).view())
    context = {
        "title": "Alarms",
        "ways": told["ways"],
        "lines": [_line(WAYS[way], line, tongue) for way, line in told["lines"].items()],
        "rules": _rules(told),
    }
    return keyed_page(request, "alarm.html", context)


def _line(name: str, line: tuple[int, str, float | None], tongue: Tongue) -> str:
    """How one way fares."""
    waiting, failing, out_utc_s = line
    words = [f"{name}: " + ("nothing was told yet" if out_utc_s is None else "last told ")]
    words[0] += "" if out_utc_s is None else tongue.when(out_utc_s)
    if failing:
        words.append(f"it fails: {failing}")
    if waiting:
        words.append(f"{waiting} waiting")
    return "; ".join(words) + "."


def _rules(told: dict[str, Any]) -> list[str]:
    quiet, weekly = told["quiet"], told["weekly"]
    rules = []
    if quiet != "never":
        rules.append(
            f"From {quiet.replace('-', ' to ')} only a burst, a leak, a stuck valve and, while "
            "something grows, frost are told."
        )
    if weekly != "never":
        rules.append(f"{DAYS[weekly]} at 18:00 the week is told, so that silence is an alarm too.")
    return rules


async def do_test(request: Request) -> Response:
    """Send a test by every way and say what became of each."""
    caller, _ = await sent_form(request)
    reports = await tested(request, caller.who)
    lines = [summary(reports), *(f"{WAYS[r.way]}: {r.text}" for r in reports)]
    return keyed_page(request, "said.html", {"title": "The test", "lines": lines})
