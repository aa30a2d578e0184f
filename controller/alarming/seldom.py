"""An alert that flaps is told seldom: what record and topic hear of alerts that come and go.

What stands is what stands: nothing here keeps an alert up or off. But rows of alerts are kept for
good and each list of alerts goes to everybody, so an alert that is back in the same words within
ten minutes, or for the thirtieth time in a day, gets no row until it has stood for ten minutes, and
lists that differ by such alerts alone go out once a minute at most. What needs a person is told at
once, however often.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from controller.effects import Alert

BACK_S = 600.0  # an alert that is back so soon is the same one
LIST_S = 60.0  # between two lists that only flapping alerts changed
DAY_S = 86_400.0
DAY_MOST = 24  # begins of one alert that have rows at once within a day
ENDED_MOST = 64  # whose ends are remembered


@dataclass(slots=True, kw_only=True)
class Told:
    """What the record and the topic were told of alerts lately, by trusted time [s]."""

    ended_s: dict[str, float] = field(default_factory=dict)  # by alert and words, lately
    unsaid_s: dict[str, float] = field(default_factory=dict)  # standing without a row, since when
    day: int = 0
    day_rows: dict[str, int] = field(default_factory=dict)  # begins told in it, by alert
    list_s: float = 0.0  # when the last list went out
    list_due: bool = False  # one that is put off


def begins(told: Told, alert: Alert, now_s: float) -> bool:
    """Whether the record is told at once that an alert stands."""
    told.unsaid_s.pop(alert.id, None)
    ended_s = told.ended_s.get(_words(alert))
    back = ended_s is not None and 0.0 <= now_s - ended_s < BACK_S
    if alert.person_needed or (not back and _has_room(told, alert, now_s)):
        return True
    told.unsaid_s[alert.id] = now_s
    return False


def ends(told: Told, alert: Alert, now_s: float) -> bool:
    """Whether the record is told that an alert is over: only where it was told of it."""
    lately = {what: at_s for what, at_s in told.ended_s.items() if 0.0 <= now_s - at_s < BACK_S}
    lately.pop(_words(alert), None)
    lately[_words(alert)] = now_s
    told.ended_s = dict(list(lately.items())[-ENDED_MOST:])
    return told.unsaid_s.pop(alert.id, None) is None


def late(told: Told, standing: Mapping[str, Alert], now_s: float) -> list[Alert]:
    """The alerts that stand long enough to be no flapping, and are to have their row now."""
    due = [name for name, since_s in told.unsaid_s.items() if not 0.0 <= now_s - since_s < BACK_S]
    said = [standing[name] for name in due if name in standing]
    for alert in said:
        del told.unsaid_s[alert.id]
    return said


def list_is_due(told: Told, now_s: float) -> bool:
    """Whether a list that was put off goes out now."""
    return told.list_due and not 0.0 <= now_s - told.list_s < LIST_S


def listed(told: Told, now_s: float) -> None:
    """The list went out."""
    told.list_s, told.list_due = now_s, False


def _words(alert: Alert) -> str:
    return f"{alert.id}: {alert.text}"


def _has_room(told: Told, alert: Alert, now_s: float) -> bool:
    """Whether the day has room for another row of this alert; it is counted."""
    day = int(now_s // DAY_S)
    if day != told.day:
        told.day, told.day_rows = day, {}
    rows = told.day_rows.get(alert.id, 0)
    if rows >= DAY_MOST:
        return False
    told.day_rows[alert.id] = rows + 1
    return True
