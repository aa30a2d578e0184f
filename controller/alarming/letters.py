"""What is told, in words for a grower with a phone: subject, text, and the same as JSON. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from controller.alarming.codes import advice, title_of
from controller.alarming.hours import said, said_with_zone
from controller.alarming.told import Item
from controller.effects import Alert
from controller.garden import Garden
from controller.us_units import for_people
from controller.view import alert_json, rfc3339

MOST_ITEMS = 12  # told in full; the page has them all
SUBJECT_MOST = 120  # [characters]
HEADS = {"new": "New", "again": "Still", "over": "Over"}

Kind = Literal["alarm", "weekly", "test"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One alert in a message, as programs read it."""

    what: str
    alert: Alert


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """One message, the same for every way."""

    id: str
    kind: Kind
    at_utc_s: float
    subject: str
    text: str
    told: tuple[Told, ...] = ()


def garden_name(garden: Garden) -> str:
    """The garden as people call it."""
    return garden.garden.name or garden.garden.id


def headed(garden: Garden, text: str) -> str:
    """A subject that begins with the garden's name."""
    whole = f"{garden_name(garden)}: {text}"
    return whole if len(whole) <= SUBJECT_MOST else whole[: SUBJECT_MOST - 1] + "…"


def alarm_letter(garden: Garden, items: Sequence[Item], number: int, now_utc_s: float) -> Message:
    """Say what began, what stands and what is over.

    Args:
        garden: whose.
        items: what is told, at least one.
        number: of the message.
        now_utc_s: now.
    """
    ordered = sorted(items, key=_rank)
    zone = garden.garden.zone
    blocks = [_block(garden, item) for item in ordered[:MOST_ITEMS]]
    if len(ordered) > MOST_ITEMS:
        blocks.append(f"And {len(ordered) - MOST_ITEMS} more; the page has them all.")
    blocks.append(_foot(garden, said_with_zone(now_utc_s, zone)))
    return Message(
        id=_id(garden, "alarm", number, now_utc_s),
        kind="alarm",
        at_utc_s=now_utc_s,
        subject=headed(garden, _subject(ordered)),
        text="\n\n".join(blocks),
        told=tuple(Told(what=item.what, alert=item.alert) for item in ordered),
    )


def trial_letter(garden: Garden, number: int, now_utc_s: float) -> Message:
    """A message that only proves its way."""
    at = said_with_zone(now_utc_s, garden.garden.zone)
    return Message(
        id=_id(garden, "test", number, now_utc_s),
        kind="test",
        at_utc_s=now_utc_s,
        subject=headed(garden, "a test, nothing is wrong"),
        text=f"Somebody pressed the test. Alarms of this garden get here.\n\n{_foot(garden, at)}",
    )


def merged(messages: Sequence[Message]) -> Message:
    """Several that waited, as one: the first names it, the newest stands on top."""
    if len(messages) == 1:
        return messages[0]
    newest = messages[-1]
    texts = [message.text for message in reversed(messages)]
    head = f"{len(messages)} messages that could not be told before, the newest first."
    subjects = f"{newest.subject} (and {len(messages) - 1} before it)"
    return Message(
        id=messages[0].id,
        kind=newest.kind,
        at_utc_s=newest.at_utc_s,
        subject=subjects[: 2 * SUBJECT_MOST],
        text="\n\n".join([head, *texts]),
        told=tuple(told for message in messages for told in message.told),
    )


def message_json(garden: Garden, message: Message) -> dict[str, Any]:
    """A message as a command reads it from its standard input."""
    return {
        "id": message.id,
        "kind": message.kind,
        "garden": garden.garden.id,
        "name": garden_name(garden),
        "at": rfc3339(message.at_utc_s),
        "subject": message.subject,
        "text": message.text,
        "alerts": [{"what": told.what, **alert_json(told.alert)} for told in message.told],
    }


def page_url(garden: Garden) -> str:
    """Where people find the page, empty where only this machine does."""
    page = garden.page
    return f"http://{page.names[0]}:{page.port}/" if page.names else ""


def _id(garden: Garden, kind: str, number: int, now_utc_s: float) -> str:
    return f"{garden.garden.id}-{kind}-{number}-{now_utc_s:.0f}"


def _rank(item: Item) -> tuple[int, bool, float, str]:
    order = {"new": 0, "again": 1, "over": 2}[item.what]
    return order, not item.alert.person_needed, item.at_utc_s, item.alert.id


def _subject(ordered: Sequence[Item]) -> str:
    first = ordered[0]
    titles = list(
        dict.fromkeys(title_of(item.alert.code) for item in ordered if item.what == first.what)
    )
    more = len({item.alert.id for item in ordered}) - 1
    text = titles[0] if first.what != "over" else f"over: {titles[0]}"
    return f"{text}, and {more} more" if more else text


def _block(garden: Garden, item: Item) -> str:
    zone = garden.garden.zone
    text = for_people(item.alert.text, garden.garden.units)
    head = f"{HEADS[item.what]}, since {said(item.at_utc_s, zone)}: {text}"
    return head if item.what == "over" else f"{head}\nWhat to do: {advice(item.alert.code)}"


def _foot(garden: Garden, at: str) -> str:
    url = page_url(garden)
    return f"{garden_name(garden)}, {at}." + (f" The page: {url}" if url else "")
