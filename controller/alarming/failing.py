"""A way out of the house that fails is an alert of its own, told by the other ways."""

from __future__ import annotations

from controller.events import AlarmWay
from controller.run import Run

WORDS = {"mail": "by mail", "command": "by the command"}


def alarm_way(run: Run, event: AlarmWay) -> None:
    """Raise or end the alert of one way."""
    if event.works:
        run.end_alert("alarm_failed", event.way)
        return
    run.raise_alert(
        "alarm_failed",
        f"Alarms {WORDS.get(event.way, event.way)} do not get out: {event.cause}.",
        part=event.way,
    )
