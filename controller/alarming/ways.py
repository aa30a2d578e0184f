"""What every way out of the house has in common: a message goes in, what became of it comes back.

A cause is one of our own sentences and never what a server or a program said: nothing secret and
nothing foreign gets into the log, the alerts or the page.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from controller.alarming.letters import Message


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What became of a message.

    Attributes:
        out: it got out, to one address at least.
        cause: what went wrong, one sentence without its full stop; empty where nothing did.
        lasting: whether waiting will not mend it.
    """

    out: bool
    cause: str = ""
    lasting: bool = False


DELIVERED = Delivery(out=True)


class Way(Protocol):
    """One way out of the house."""

    @property
    def name(self) -> str:
        """`mail` or `command`."""

    def send(self, message: Message) -> Delivery:
        """Send a message; it may take so long as the way's own limit says, and never raises."""
