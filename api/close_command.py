"""`thirstline close-all`: every valve told to close, with nothing but the garden file and a broker.

It reads no database, asks no daemon, needs no lease and no set clock: it is what the service
manager runs after the daemon has ended, however that came about.
"""

from __future__ import annotations

import json
import time
from pathlib import Path

import click

from api.garden_meant import garden_of
from api.options import json_flag, print_json
from controller.connection import Connection, address_of
from controller.errors import GardenError, LinkError, ThirstlineError
from controller.garden import Garden

WAIT_S = 4.0  # [s] real, for the broker and for the nodes' word
AGAIN_S = 1.0  # [s] real, between repeats
PUMP_S = 0.05
ORDER = {"pump": 0, "bed": 1, "master": 2}
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


def _close_over(garden: Garden, end_s: float) -> dict[str, str]:
    """One connection's worth of closing."""
    address = address_of(garden)
    leased = [name for name in garden.valves if not garden.valves[name].plain_relay]
    states = {garden.topic("state", name): name for name in leased}
    topics = [(topic, False) for topic in sorted(states)]
    connection = Connection(address.renamed(f"{address.client_id[:50]}-close"), topics)
    told: dict[str, str] = {}
    try:
        connection.open()
        next_s = 0.0
        while connection.lost is None and time.monotonic() < end_s:
            connection.pump(PUMP_S)
            now_s = time.monotonic()
            answerable = not told or now_s + AGAIN_S <= end_s  # the last needs its answer too
            if connection.is_ready() and now_s >= next_s and answerable:
                next_s = now_s + AGAIN_S
                told |= {name: told.get(name, TOLD) for name in _send(garden, connection)}
            for topic, payload, retained in connection.take():
                if topic in states and not retained and told:
                    told[states[topic]] = _word(payload, told.get(states[topic], TOLD))
        done = connection.idle() and connection.lost is None and len(told) == len(garden.valves)
    finally:
        connection.close()
    if not done:
        msg = connection.lost if not told else "the broker did not take every close"
        raise LinkError(msg or "the broker did not take every close")
    return told


def _send(garden: Garden, connection: Connection) -> list[str]:
    """Send one close to every valve; the names of those that went out."""
    sent = []
    for name in sorted(garden.valves, key=lambda one: (ORDER[garden.valves[one].role], one)):
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


@click.command(name="close-all", short_help="Tell every valve to close, past the daemon.")
@click.argument("garden")
@json_flag
def close_all_command(garden: str, as_json: bool) -> None:
    """Tell every valve to close, without daemon, database or clock.

    What the service runs after the daemon's end. A running daemon may open again.

    Example:  thirstline close-all /etc/thirstline/garden.toml
    """
    setting, _ = garden_of(garden)
    told = close_all(setting)
    if as_json:
        print_json({"valves": told})
    else:
        for name, word in told.items():
            click.echo(f"{name}: {word}")
    if OPEN in told.values():
        raise SystemExit(1)


def close_alone(words: list[str]) -> None:
    """Run it by itself, without the other commands; faults end with a sentence and status 1.

    Args:
        words: what follows `close-all`.
    """
    try:
        close_all_command(words, prog_name="thirstline close-all")
    except ThirstlineError as exc:
        for line in exc.faults if isinstance(exc, GardenError) else (str(exc),):
            click.echo(line, err=True)
        raise SystemExit(1) from None


def program_path(argv0: str, python: str) -> Path:
    """Where the command itself lies, as a service has to name it.

    Args:
        argv0: how it was called.
        python: the interpreter that runs.
    """
    beside = Path(python).parent / "thirstline"
    called = Path(argv0)
    return called.absolute() if called.name == "thirstline" and called.exists() else beside
