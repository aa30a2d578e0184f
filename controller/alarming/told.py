"""What is to be told out of the house, and when: a book of what was told, looked at now and then.

An alert is told once when it begins and once when it is over; what needs a person, or dries a bed
meanwhile, again each day. What comes within a minute goes together. In the quiet hours only what
cannot wait for the morning goes out. An alert that comes and goes is told three times a day, then
each six hours. Instants are Unix seconds, UTC. Pure: the time comes with the call.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from controller.alarming.codes import DAY_S, AtNight, rule_of
from controller.effects import Alert

GATHER_S = 60.0  # [s] what begins within it makes one message
SETTLES_S = 600.0  # [s] an alert that is back sooner was never over
REMIND_S = DAY_S
JOINS_S = 0.75 * DAY_S  # [s] a reminder this old joins a message that goes out anyhow
FREE_TELLINGS = 3  # beginnings of one alert told in a day before they are spread
CROWDED_S = 6 * 3600.0  # [s] then between two of them

What = Literal["new", "again", "over"]


@dataclass(slots=True, kw_only=True)
class Spell:
    """One alert from its beginning to its end, and how often it was told lately."""

    alert: Alert  # as last seen
    seen_utc_s: float
    told_utc_s: float | None = None  # last, in this spell
    gone_utc_s: float | None = None
    begun_utc_s: list[float] = field(default_factory=list)  # beginnings told within a day


@dataclass(slots=True, kw_only=True)
class Book:
    """All that was told."""

    spells: dict[str, Spell] = field(default_factory=dict)  # by the alert's id
    gather_utc_s: float | None = None  # since when something waits for company
    weekly_utc_s: float | None = None  # the last weekly message's own instant
    messages: int = 0  # written so far


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One alert that is told now: it is new, stands still, or is over."""

    what: What
    alert: Alert
    at_utc_s: float  # since when, or since when over


def look(
    book: Book, standing: Sequence[Alert], now_utc_s: float, *, quiet: bool, growing: bool
) -> list[Item]:
    """See what is to be told now; it counts as told.

    Args:
        book: what was told, changed in place.
        standing: all alerts that stand.
        now_utc_s: now.
        quiet: whether people sleep.
        growing: whether a bed has plants in it.

    Returns:
        What makes one message, empty where nothing is due.
    """
    _turn_back(book, now_utc_s)
    _note(book, standing, now_utc_s)
    due = [item for spell in book.spells.values() if (item := _due(spell, now_utc_s))]
    urgent = [item for item in due if item.what == "new" and _urgent(item.alert, growing)]
    if quiet:
        book.gather_utc_s = None
        due = urgent
    elif due and not urgent:
        if book.gather_utc_s is None:
            book.gather_utc_s = now_utc_s
        if now_utc_s - book.gather_utc_s < GATHER_S:
            return []
    if due:
        book.gather_utc_s = None
        due += [] if quiet else _joining(book, due, now_utc_s)
        for item in due:
            _mark(book, item, now_utc_s)
    return due


def _turn_back(book: Book, now_utc_s: float) -> None:
    """After a wall clock that was put back nothing was told in the future."""
    for spell in book.spells.values():
        spell.seen_utc_s = min(spell.seen_utc_s, now_utc_s)
        spell.begun_utc_s = [min(at_s, now_utc_s) for at_s in spell.begun_utc_s]
        if spell.told_utc_s is not None:
            spell.told_utc_s = min(spell.told_utc_s, now_utc_s)
        if spell.gone_utc_s is not None:
            spell.gone_utc_s = min(spell.gone_utc_s, now_utc_s)
    if book.gather_utc_s is not None:
        book.gather_utc_s = min(book.gather_utc_s, now_utc_s)


def _note(book: Book, standing: Sequence[Alert], now_utc_s: float) -> None:
    """Write down what stands and what stands no more."""
    here = {alert.id for alert in standing}
    for alert in standing:
        spell = book.spells.get(alert.id)
        if spell is None:
            book.spells[alert.id] = Spell(alert=alert, seen_utc_s=now_utc_s)
            continue
        if spell.gone_utc_s is not None and spell.told_utc_s is None:
            spell.seen_utc_s = now_utc_s  # another spell
        spell.alert, spell.gone_utc_s = alert, None
    for key, spell in list(book.spells.items()):
        if key in here:
            continue
        if spell.gone_utc_s is None:
            spell.gone_utc_s = now_utc_s
        lately = [at_s for at_s in spell.begun_utc_s if now_utc_s - at_s < DAY_S]
        if spell.told_utc_s is None and not lately:
            del book.spells[key]  # it went before it was told, or its end was told long ago


def _due(spell: Spell, now_utc_s: float) -> Item | None:
    alert, told_s = spell.alert, spell.told_utc_s
    if spell.gone_utc_s is not None:
        if told_s is None or now_utc_s - spell.gone_utc_s < SETTLES_S:
            return None
        return Item(what="over", alert=alert, at_utc_s=spell.gone_utc_s)
    rule = rule_of(alert.code)
    if told_s is None:
        first_s = 0.0 if rule is None else rule.first_after_s
        if now_utc_s - spell.seen_utc_s < first_s or _crowded(spell, now_utc_s):
            return None
        return Item(what="new", alert=alert, at_utc_s=alert.since_utc_s)
    if _reminds(alert) and now_utc_s - told_s >= REMIND_S:
        return Item(what="again", alert=alert, at_utc_s=alert.since_utc_s)
    return None


def _reminds(alert: Alert) -> bool:
    rule = rule_of(alert.code)
    return alert.person_needed or (rule is not None and rule.reminds)


def _crowded(spell: Spell, now_utc_s: float) -> bool:
    """Whether this alert was told so often lately that its next beginning waits."""
    rule = rule_of(spell.alert.code)
    if rule is not None and rule.at_night is AtNight.ALWAYS:
        return False
    lately = [at_s for at_s in spell.begun_utc_s if now_utc_s - at_s < DAY_S]
    return len(lately) >= FREE_TELLINGS and now_utc_s - lately[-1] < CROWDED_S


def _urgent(alert: Alert, growing: bool) -> bool:
    """Whether it is told at any hour, at once."""
    rule = rule_of(alert.code)
    if rule is None:
        return False
    return rule.at_night is AtNight.ALWAYS or (rule.at_night is AtNight.GROWING and growing)


def _joining(book: Book, due: Sequence[Item], now_utc_s: float) -> list[Item]:
    """Reminders that would come within hours join, so that a day brings one message."""
    told = {item.alert.id for item in due}
    return [
        Item(what="again", alert=spell.alert, at_utc_s=spell.alert.since_utc_s)
        for key, spell in book.spells.items()
        if key not in told
        and spell.gone_utc_s is None
        and spell.told_utc_s is not None
        and now_utc_s - spell.told_utc_s >= JOINS_S
        and _reminds(spell.alert)
    ]


def _mark(book: Book, item: Item, now_utc_s: float) -> None:
    spell = book.spells[item.alert.id]
    if item.what == "over":
        spell.told_utc_s = None
        return
    if item.what == "new":
        lately = [at_s for at_s in spell.begun_utc_s if now_utc_s - at_s < DAY_S]
        spell.begun_utc_s = [*lately, now_utc_s]
    spell.told_utc_s = now_utc_s
