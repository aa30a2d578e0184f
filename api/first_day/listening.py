"""The first day's edges: what the broker carries, and what the machine knows of itself."""

from __future__ import annotations

import contextlib
import importlib.resources
import os
import re
import socket
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, available_timezones

from api.first_day.asked import Here
from controller.clock import ScaledClock, anchor_from
from controller.connection import Address, Connection
from controller.errors import LinkError

EVERYTHING = "#"
MOST_MESSAGES = 5000
LOCALTIME = Path("/etc/localtime")
TIMEZONE_FILE = Path("/etc/timezone")
HOST = r"[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
PLACE = re.compile(r"([+-])(\d{2})(\d{2})(\d{2})?([+-])(\d{3})(\d{2})(\d{2})?")  # ISO 6709
NORTH, EAST = (1, 2, 3, 4), (5, 6, 7, 8)  # groups of the above


def messages(url: str, seconds: float) -> list[tuple[str, bytes]]:
    """Listen to everything on a broker; what it kept from before is left out.

    Args:
        url: such as `mqtt://127.0.0.1:1883`.
        seconds: for how long [s, real].

    Raises:
        LinkError: it cannot be reached or does not let us hear.
    """
    parts = urlsplit(url)
    client = f"thirstline-new-{os.getpid()}"
    address = Address(host=parts.hostname or "", port=parts.port or 1883, client_id=client)
    connection = Connection(address, [(EVERYTHING, False)])
    connection.open()
    found: list[tuple[str, bytes]] = []
    end_s = time.monotonic() + seconds
    try:
        while time.monotonic() < end_s and len(found) < MOST_MESSAGES:
            connection.pump(min(0.2, max(0.0, end_s - time.monotonic())))
            if connection.lost is not None:
                raise LinkError(connection.lost)
            found += [(topic, payload) for topic, payload, kept in connection.take() if not kept]
    finally:
        connection.close()
    return found


def here(environ: Mapping[str, str]) -> Here:
    """What this machine knows: the day, its time zone and that zone's town, its name."""
    zone = _zone(environ)
    clock = ScaledClock(1.0, anchor_from(environ))
    today = datetime.fromtimestamp(clock.utc_s(), UTC).astimezone(ZoneInfo(zone)).date()
    host = socket.gethostname().split(".")[0]
    name = f"{host}.local" if re.fullmatch(HOST, host) else "thirstline.local"
    return Here(
        today=today, zone=zone, towns_deg=towns_deg(), host=name, us_zones=frozenset(us_zones())
    )


def _zone(environ: Mapping[str, str]) -> str:
    told = [environ.get("TZ", "").lstrip(":")]
    with contextlib.suppress(OSError):  # no link, or none there
        told.append(str(LOCALTIME.readlink()).partition("zoneinfo/")[2])
    with contextlib.suppress(OSError, ValueError):
        told.append(TIMEZONE_FILE.read_text(encoding="ascii").strip())
    known = available_timezones()
    return next((name for name in told if name in known), "UTC")


def towns_deg() -> dict[str, tuple[float, float]]:
    """Latitude and longitude [degrees north, east] of the town that each time zone is named for.

    Source: the table `zone1970.tab` of the IANA time zone database, in the package `tzdata`.
    """
    places = [(cells[2], PLACE.fullmatch(cells[1])) for cells in _zones()]
    return {
        zone: (_deg(*found.group(*NORTH)), _deg(*found.group(*EAST)))
        for zone, found in places
        if found is not None
    }


def us_zones() -> list[str]:
    """The time zones of the United States, from the same table."""
    return [cells[2] for cells in _zones() if "US" in cells[0].split(",")]


def _zones() -> list[list[str]]:
    """The table's rows: countries, place, zone."""
    table = importlib.resources.files("tzdata") / "zoneinfo" / "zone1970.tab"
    lines = table.read_text(encoding="utf-8").splitlines()
    rows = [line.split("\t") for line in lines if not line.startswith("#")]
    return [cells for cells in rows if len(cells) >= 3]


def _deg(sign: str, degrees: str, minutes: str, seconds: str | None) -> float:
    value = int(degrees) + int(minutes) / 60.0 + int(seconds or 0) / 3600.0
    return -value if sign == "-" else value
