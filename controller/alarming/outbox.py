"""What is kept over restarts: the book of what was told, and what still waits to get out. Pure.

A message is written down before it is sent and crossed out after: what a power cut interrupts is
sent again with the same id, never lost.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from pydantic import TypeAdapter

from controller.alarming.letters import Message
from controller.alarming.told import Book

WAITING_MOST = 20  # messages of one way; beyond it the oldest goes, tests and weeks first


@dataclass(slots=True, kw_only=True)
class Line:
    """One way's messages in order, and how it fares."""

    waiting: list[Message] = field(default_factory=list)
    dropped: int = 0  # for want of room, since the last that got out
    failing: str = ""  # the cause, while its alert is to stand
    out_utc_s: float | None = None  # when the last message got out


@dataclass(slots=True, kw_only=True)
class Kept:
    """All that is kept."""

    book: Book = field(default_factory=Book)
    lines: dict[str, Line] = field(default_factory=dict)  # by way


KEPT_JSON: TypeAdapter[Kept] = TypeAdapter(Kept)


def put(line: Line, message: Message) -> None:
    """Let a message wait; the least needed goes where there is no room."""
    line.waiting.append(message)
    while len(line.waiting) > WAITING_MOST:
        spare = [i for i, one in enumerate(line.waiting) if one.kind != "alarm"]
        del line.waiting[spare[0] if spare else 0]
        line.dropped += 1


def to_send(line: Line) -> list[Message]:
    """What waits, in order; what had to be dropped is said in the first."""
    messages = list(line.waiting)
    if messages and line.dropped:
        head = f"{line.dropped} messages before this one were lost: too many waited."
        messages[0] = replace(messages[0], text=f"{head}\n\n{messages[0].text}")
    return messages


def got_out(line: Line, ids: set[str], at_utc_s: float) -> None:
    """Cross out what got out."""
    line.waiting = [message for message in line.waiting if message.id not in ids]
    line.dropped = 0
    line.out_utc_s = at_utc_s
