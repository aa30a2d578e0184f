"""What a test says of each way, and which ways a garden file sets, in words. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from controller.alarming.ways import Delivery
from controller.errors import ThirstlineError
from controller.garden import Garden

Outcome = Literal["delivered", "failed", "not_set"]


class ItsUseError(ThirstlineError):
    """A test is under way already, or was just sent."""

    def __init__(self) -> None:
        super().__init__("A test is under way, or was just sent. Wait half a minute.")


@dataclass(frozen=True, slots=True, kw_only=True)
class WayReport:
    """How one way fared."""

    way: str
    outcome: Outcome
    text: str


def way_words(garden: Garden) -> dict[str, str]:
    """The ways that a garden file sets besides page and MQTT, each in words."""
    alarm, found = garden.alarm, {}
    if alarm.mail is not None:
        found["mail"] = f"mail to {', '.join(alarm.mail.to)}"
    if alarm.command is not None:
        found["command"] = f"the command {alarm.command[0].rpartition('/')[2]}"
    return found


def always_there(view: Mapping[str, Any], garden: Garden) -> list[WayReport]:
    """Page and MQTT: they have every alert, without any setting."""
    topic = garden.topic("alert")
    up = bool(view.get("link_up"))
    mqtt = f"The list of alerts stands on {topic}." if up else "No contact with the broker."
    return [
        WayReport(way="page", outcome="delivered", text="Alerts stand on the page."),
        WayReport(way="mqtt", outcome="delivered" if up else "failed", text=mqtt),
    ]


def reported(garden: Garden, found: Mapping[str, Delivery]) -> list[WayReport]:
    """How mail and command fared in a test; a way without a word has not been tried."""
    words = way_words(garden)
    reports = []
    for way in ("mail", "command"):
        delivery = found.get(way)
        if way not in words:
            reports.append(WayReport(way=way, outcome="not_set", text=f"[alarm] {way} is not set."))
        elif delivery is None:
            reports.append(WayReport(way=way, outcome="failed", text="It was not tried."))
        elif delivery.cause:
            reports.append(WayReport(way=way, outcome="failed", text=_sentence(delivery.cause)))
        else:
            done = "The mail server took it." if way == "mail" else "The program took it."
            reports.append(WayReport(way=way, outcome="delivered", text=done))
    return reports


def _sentence(cause: str) -> str:
    return f"{cause[:1].upper()}{cause[1:]}."
