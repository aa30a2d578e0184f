"""What was found of the broker's rights (B9): an alert while strangers may write to the valves."""

from __future__ import annotations

from controller.events import BrokerRights
from controller.run import Run


def broker_rights(run: Run, event: BrokerRights) -> None:
    """A stranger may write on a command topic, or may not."""
    if event.open:
        run.raise_alert(
            "broker_open",
            "The broker lets anybody on the network write to the valves' topics. Give it accounts "
            "and a list of rights.",
        )
    else:
        run.end_alert("broker_open")
