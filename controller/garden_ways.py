"""The tables of the garden file that say where and how: the plot, the broker, the page, alarms."""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache
from ipaddress import ip_address
from typing import Annotated, Literal, get_args
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, ConfigDict, Field

from controller.alarming.hours import WEEKDAYS
from controller.garden_rules import Between, Line, Many, OneOf, Part, Text, Topic, fault, shown

Units = Literal["metric", "us"]
DEFAULT_HOURS = "22:00-sunrise"
HOST_PATTERN = r"(?:[A-Za-z0-9](?:[A-Za-z0-9.-]{0,251}[A-Za-z0-9])?|\[[0-9A-Fa-f:]{2,39}\])"
URL_PATTERN = rf"builtin|mqtt://(?P<host>{HOST_PATTERN}):(?P<port>[0-9]{{1,5}})"
LISTEN_PATTERN = rf"(?P<host>{HOST_PATTERN}):(?P<port>[0-9]{{1,5}})"
TIME_PATTERN = r"(?:(?:[01][0-9]|2[0-3]):[0-5][0-9]|sunset|sunrise)"
CLOCK_PATTERN = r"(?:[01][0-9]|2[0-3]):[0-5][0-9]"
DEFAULT_QUIET = "22:00-07:00"
HIGHEST_PORT = 65535
TLS_PORT = 465  # mail over TLS from the first byte, RFC 8314
Tls = Literal["starttls", "tls", "none"]
Address = Annotated[
    str, Text(200, r"[^@\s,<>\"]+@[^@\s,<>\"]+", "a mail address")
]  # one address: no comma makes it two


@lru_cache(maxsize=1)
def _zones() -> frozenset[str]:
    return frozenset(available_timezones())


def _known_zone(name: str) -> str:
    if name not in _zones():
        predicate = f"{shown(name)} is no time zone known here, such as 'Europe/Berlin'"
        raise fault(predicate)
    return name


def _known_port(text: str) -> str:
    port = re.search(r":([0-9]{1,5})$", text)
    if port is not None and not 1 <= int(port[1]) <= HIGHEST_PORT:
        predicate = f"the port in {shown(text)} is outside 1 to {HIGHEST_PORT}"
        raise fault(predicate)
    return text


def _two_ends(hours: str) -> str:
    start, _, end = hours.partition("-")
    if start == end:
        predicate = f"{shown(hours)} begins and ends alike; allowed is a span, or 'always'"
        raise fault(predicate)
    return hours


def _two_clocks(hours: str) -> str:
    begin, _, end = hours.partition("-")
    if begin == end:
        predicate = f"{shown(hours)} begins and ends alike; allowed is a span, or 'never'"
        raise fault(predicate)
    return hours


def _month_day(text: str) -> str:
    month, day = text.split("-")
    try:
        date(2000, int(month), int(day))  # a leap year: the 29th of February may be named
    except ValueError as exc:
        predicate = f"{shown(text)} is no day of the year"
        raise fault(predicate) from exc
    return text


MonthDay = Annotated[
    str, Text(5, r"[01][0-9]-[0-3][0-9]", "a day such as '11-01'"), AfterValidator(_month_day)
]


def is_loopback(host: str) -> bool:
    """Tell whether a host or address can only be this machine."""
    try:
        return ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


class GardenInfo(Part):
    """`[garden]`: the plot as a whole."""

    id: Annotated[str, Text(40, r"[a-z0-9][a-z0-9-]{0,39}", "lower-case letters, digits and -")]
    name: Annotated[str, Text(80)] | None = None
    latitude: Annotated[float, Between(-90.0, 90.0, "degrees north")]
    longitude: Annotated[float, Between(-180.0, 180.0, "degrees east")]
    elevation_m: Annotated[float, Between(-450.0, 5000.0, "m")]
    timezone: Annotated[str, Text(60), AfterValidator(_known_zone)]
    units: Annotated[Units, OneOf(get_args(Units))] = "metric"
    beds_at_once: Annotated[int, Between(1, 16, whole=True)] = 1
    frost_lock: Annotated[tuple[MonthDay, ...], Many(2, 2, "days")] | None = None
    hours: Annotated[
        str,
        Text(
            20,
            rf"always|{TIME_PATTERN}-{TIME_PATTERN}",
            "a span such as '22:00-sunrise' of HH:MM, sunset, sunrise, or 'always'",
        ),
        AfterValidator(_two_ends),
    ] = DEFAULT_HOURS

    @property
    def zone(self) -> ZoneInfo:
        """The time zone itself."""
        return ZoneInfo(self.timezone)


class Broker(Part):
    """`[broker]`: where the messages go."""

    url: Annotated[
        str, Text(270, URL_PATTERN, "'mqtt://host:port' or 'builtin'"), AfterValidator(_known_port)
    ] = "mqtt://127.0.0.1:1883"
    username: Annotated[str, Text(100)] | None = None
    password_file: Line | None = None
    client_id: (
        Annotated[str, Text(60, r"[A-Za-z0-9_.:-]+", "letters, digits and _ . : -")] | None
    ) = None

    @property
    def builtin(self) -> bool:
        """Whether the daemon starts a broker of its own: for trials only."""
        return self.url == "builtin"

    @property
    def host(self) -> str:
        """The broker's host, without brackets; loopback for the builtin one."""
        found = re.fullmatch(URL_PATTERN, self.url)
        return ((found and found["host"]) or "127.0.0.1").strip("[]")

    @property
    def port(self) -> int:
        """The broker's port; 0 for the builtin one, which takes a free one."""
        found = re.fullmatch(URL_PATTERN, self.url)
        return int((found and found["port"]) or 0)

    @property
    def on_loopback(self) -> bool:
        """Whether the broker can only be on this machine."""
        return is_loopback(self.host)


class Page(Part):
    """`[page]`: where the local page listens and what people type to reach it."""

    listen: Annotated[
        str, Text(270, LISTEN_PATTERN, "'host:port'"), AfterValidator(_known_port)
    ] = "127.0.0.1:8470"
    names: Annotated[
        tuple[Annotated[str, Text(253, HOST_PATTERN, "a host name or address")], ...],
        Many(0, 16, "names"),
    ] = ()

    @property
    def host(self) -> str:
        """The address listened on, without brackets."""
        return self.listen.rpartition(":")[0].strip("[]")

    @property
    def port(self) -> int:
        """The port listened on."""
        return int(self.listen.rpartition(":")[2])

    @property
    def on_loopback(self) -> bool:
        """Whether only this machine can reach the page."""
        return is_loopback(self.host)


class Topics(Part):
    """`[topics]`: the garden's own topics, where they are not the usual ones."""

    outlook: Topic | None = None
    alert: Topic | None = None
    canary: Topic | None = None
    controller_state: Topic | None = None


class Mail(Part):
    """`mail`: the account that alarms go out by."""

    model_config = ConfigDict(populate_by_name=True)  # the journal keeps it by its own names

    host: Annotated[str, Text(253, HOST_PATTERN, "a host name or address")]
    port: Annotated[int, Between(1, HIGHEST_PORT, whole=True)] = 587
    user: Annotated[str, Text(100)] | None = None
    password_file: Line | None = None
    to: Annotated[tuple[Address, ...], Many(1, 10, "mail addresses")]
    sender: Annotated[Address | None, Field(alias="from")] = None
    tls: Annotated[Tls, OneOf(get_args(Tls))] | None = None

    @property
    def security(self) -> Tls:
        """How the connection is made safe: as told, else by the port."""
        return self.tls or ("tls" if self.port == TLS_PORT else "starttls")

    @property
    def sender_or_first(self) -> str:
        """Whom the mail is from: as told, else the account, else the first to get it."""
        account = self.user if self.user is not None and "@" in self.user else None
        return self.sender or account or self.to[0]


class Alarm(Part):
    """`[alarm]`: how people are called, and when they are left to sleep."""

    mail: Mail | None = None
    command: Annotated[tuple[Line, ...], Many(1, 20, "words")] | None = None
    quiet: Annotated[
        str,
        Text(11, rf"never|{CLOCK_PATTERN}-{CLOCK_PATTERN}", "hours such as '22:00-07:00', 'never'"),
        AfterValidator(_two_clocks),
    ] = DEFAULT_QUIET
    weekly: Annotated[str, OneOf((*WEEKDAYS, "never"))] = "sun"
