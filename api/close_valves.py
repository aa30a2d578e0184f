"""Every valve told to close past the daemon, with nothing but the garden file and a broker.

After its end, however that came about (`close_all`), and before it has loaded what it needs
(`close_first`). No database, no lease, no set clock; loads little, since a board may be slow.
"""

from __future__ import annotations

import json
import logging
import threading
import time
from collections.abc import Iterable

from controller.connection import Connection, address_of
from controller.errors import LinkError
from controller.garden import Garden

WAIT_S = 4.0  # [s] real, for the broker and for the nodes' word
FIRST_S = 2.0  # [s] real, that a start may be delayed by at most
AGAIN_S = 1.0  # [s] real, between repeats
PUMP_S = 0.05
ORDER = {"pump": 0, "bed": 1, "master": 2}
log = logging.getLogger(__name__)
TOLD, CLOSED, OPEN = "told", "closed", "still open"


def close_all(garden: Garden, wait_s: float = WAIT_S) -> dict[str, str]:
    """Tell every valve to close, again and again until the time is over.

    Args:
        garden: its broker and its valves.
        wait_s: how long [s, real].

    Returns:
        By valve: `closed` by its node's word since, `still open` by the same, else `told`.

    Raises:
        LinkError: the broker took nothing.
    """
    end_s = time.monotonic() + wait_s
    why = "the broker did not answer in time"
    while time.monotonic() < end_s:
        try:
            return _close_over(garden, end_s)
        except LinkError as exc:
            why = str(exc)
            time.sleep(min(AGAIN_S / 2.0, max(0.0, end_s - time.monotonic())))
    raise LinkError(why)


def close_first(garden: Garden, within_s: float = FIRST_S) -> bool:
    """Tell every valve with a lease to close, before a daemon has loaded what it needs.

    It waits for the broker and not for the nodes: the daemon's own closes, which are repeated
    until they are confirmed, follow. What fails here delays nothing and is only logged.

    Args:
        garden: its broker and its valves; an embedded broker has nobody to tell yet.
        within_s: how long at most [s, real]; nothing is sent after it.

    Returns:
        Whether the broker took every close.
    """
    if garden.broker.builtin or not _leased(garden):
        return False
    took: list[bool] = []
    end_s = time.monotonic() + within_s

    def tell() -> None:
        try:
            _close_over(garden, end_s, first=True)
            took.append(True)
        except LinkError as exc:
            log.info("not told to close before the start: %s", exc)
        except Exception:  # whatever it is, the daemon's own closes follow
            log.exception("not told to close before the start")

    teller = threading.Thread(target=tell, name="first-closes", daemon=True)
    teller.start()  # a name that takes long to look up has no time-out of its own
    teller.join(within_s)
    return bool(took)


def _leased(garden: Garden) -> list[str]:
    return [name for name in garden.valves if not garden.valves[name].plain_relay]


def _close_over(garden: Garden, end_s: float, *, first: bool = False) -> dict[str, str]:
    """One connection's worth of closing; `first` is over once the broker has taken each."""
    address = address_of(garden)
    leased = _leased(garden)
    names = leased if first else list(garden.valves)
    states = {garden.topic("state", name): name for name in leased}
    topics = [(topic, False) for topic in sorted(states)]
    tail = "first" if first else "close"
    connection = Connection(address.renamed(f"{address.client_id[:50]}-{tail}"), topics)
    told: dict[str, str] = {}
    try:
        connection.open()
        next_s = 0.0
        while connection.lost is None and time.monotonic() < end_s:
            connection.pump(PUMP_S)
            now_s = time.monotonic()
            answerable = first or not told or now_s + AGAIN_S <= end_s  # the last: its answer too
            if connection.is_ready() and now_s >= next_s and answerable:
                next_s = now_s + (0.0 if first else AGAIN_S)
                sent = _send(garden, connection, [n for n in names if not (first and n in told)])
                told |= {name: told.get(name, TOLD) for name in sent}
            for topic, payload, retained in connection.take():
                if topic in states and not retained and told:
                    told[states[topic]] = _word(payload, told.get(states[topic], TOLD))
            if first and len(told) == len(names) and connection.idle():
                break
        done = connection.idle() and connection.lost is None and len(told) == len(names)
    finally:
        connection.close()
    if not done:
        msg = connection.lost if not told else "the broker did not take every close"
        raise LinkError(msg or "the broker did not take every close")
    return told


def _send(garden: Garden, connection: Connection, names: Iterable[str]) -> list[str]:
    """Send one close to each of these valves; the names of those that went out."""
    sent = []
    for name in sorted(names, key=lambda one: (ORDER[garden.valves[one].role], one)):
        say = garden.valves[name].say
        topic, word = garden.topic("close", name), b""
        if say is not None:
            topic, word = say.topic, say.close.encode()
        if connection.publish(topic, word):
            connection.pump(0.0)
            sent.append(name)
    return sent


def _word(payload: bytes, before: str) -> str:
    try:
        is_open = json.loads(payload)["open"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return before
    return {True: OPEN, False: CLOSED}.get(is_open, before)
