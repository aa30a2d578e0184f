"""Who may say what on the broker: users, access list and settings for mosquitto, from the garden.

One user a node: devices that share a topic share a node, so that what one box says in one message
has one user. A node may write its own words and hear its own orders, nothing else; only the
controller may write leases and closes. Pure text; passwords come from outside as hashed lines.
Settings: man mosquitto.conf(5); limits and reasons as in hardware_notes/board.md.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from controller.errors import UsageError
from controller.garden import Garden

CONTROLLER = "thirstline"
ALL = "all"  # every device is one box: what virtual nodes on one connection are
OUTLOOK, READER = "outlook", "reader"
PASSWORD_ROUNDS = 1000  # of PBKDF2; the passwords are 128 random bits and need none
SALT_BYTES = 12
HASH_BYTES = 64
CONNECTIONS_LEAST = 64
CONNECTIONS_SPARE = 16
SAFE_TOPIC = re.compile(r"[^\s+#\x00-\x1f\x7f][^+#\x00-\x1f\x7f]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class User:
    """One user of the broker.

    Attributes:
        name: as it signs in.
        what: which devices it stands for, for people.
        writes: topics that it may write.
        reads: topics that it may read.
    """

    name: str
    what: tuple[str, ...]
    writes: tuple[str, ...]
    reads: tuple[str, ...]


def users_of(garden: Garden, together: Sequence[Sequence[str]] = ()) -> tuple[User, ...]:
    """Work out the users of a garden's broker.

    Args:
        garden: the garden file.
        together: devices that are one box, such as `("valve-south", "probe-south-20")`; `("all",)`
            makes one of every device.

    Returns:
        The controller first, then nodes by name, then `outlook` and `reader`.

    Raises:
        UsageError: a name in `together` is none of the garden's, or a topic cannot be guarded.
    """
    devices = _devices(garden)
    together = [tuple(devices) if tuple(group) == (ALL,) else group for group in together]
    for name in (name for group in together for name in group):
        if name not in devices:
            msg = f"{name[:60]!r}: there is no such device; there are {', '.join(devices)}"
            raise UsageError(msg)
    nodes = [_joined(names, devices) for names in _groups(devices, together)]
    controller = _controller(garden, nodes)
    outlook = User(
        name=OUTLOOK, what=("a script that tells rain to come",), writes=(_outlook(garden),),
        reads=(),
    )  # fmt: skip
    told = (garden.topic("alert"), garden.topic("controller_state"))
    reader = User(name=READER, what=("whoever shows alerts",), writes=(), reads=told)
    made = (controller, *nodes, outlook, reader)
    _look(made)
    return made


def access_list(users: Iterable[User]) -> str:
    """The access list: what is not named is forbidden, and nobody without a name is let in."""
    blocks = [
        "\n".join(
            [
                f"# {', '.join(user.what)}",
                f"user {user.name}",
                *(f"topic write {topic}" for topic in user.writes if topic not in user.reads),
                *(f"topic readwrite {topic}" for topic in user.writes if topic in user.reads),
                *(f"topic read {topic}" for topic in user.reads if topic not in user.writes),
            ]
        )
        for user in users
    ]
    return "# Made by: thirstline broker-config. Each node writes its own words only.\n\n" + (
        "\n\n".join(blocks) + "\n"
    )


def settings(folder: str, listeners: Sequence[tuple[str, int]], users: int) -> str:
    """The broker's settings.

    Args:
        folder: where access list and passwords lie, an absolute path.
        listeners: addresses and ports.
        users: how many there are.
    """
    most = max(CONNECTIONS_LEAST, users + CONNECTIONS_SPARE)
    heard = "\n".join(f"listener {port} {address}" for address, port in listeners)
    return f"""\
# Made by: thirstline broker-config.
{heard}
allow_anonymous false
password_file {folder}/thirstline.passwords
acl_file {folder}/thirstline.acl
message_size_limit 4096
max_packet_size 8192
max_queued_messages 100
max_connections {most}
max_keepalive 600
persistence false
"""


def hashed(name: str, password: str, salt: bytes) -> str:
    """One line of the password file: PBKDF2 with SHA-512, as the broker reads it ($7$).

    Args:
        name: the user's.
        password: in clear.
        salt: 12 random bytes.
    """
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, PASSWORD_ROUNDS, HASH_BYTES)
    told = "$".join(base64.b64encode(part).decode("ascii") for part in (salt, digest))
    return f"{name}:$7${PASSWORD_ROUNDS}${told}"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Device:
    writes: tuple[str, ...]
    reads: tuple[str, ...] = ()


def _devices(garden: Garden) -> dict[str, _Device]:
    found = {f"probe-{n}": _Device(writes=(garden.topic("probe", n),)) for n in garden.probes}
    writes: tuple[str, ...]
    reads: tuple[str, ...]
    for name, valve in garden.valves.items():
        if valve.say is None:
            writes = (garden.topic("state", name),)
            reads = (garden.topic("lease", name), garden.topic("close", name))
        else:
            writes = () if valve.evidence is None else (valve.evidence.topic,)
            reads = (valve.say.topic,)
        found[f"valve-{name}"] = _Device(writes=writes, reads=reads)
    found |= {f"meter-{n}": _Device(writes=(garden.topic("meter", n),)) for n in garden.meters}
    found |= {f"weather-{n}": _Device(writes=(garden.topic("weather", n),)) for n in garden.weather}
    return found


def _groups(
    devices: Mapping[str, _Device], together: Sequence[Sequence[str]]
) -> list[tuple[str, ...]]:
    """Devices that are one node: they share a topic, or a person says so."""
    joined = {name: {name} for name in devices}

    def join(names: Iterable[str]) -> None:
        group = set().union(*(joined[name] for name in names))
        for name in group:
            joined[name] = group

    topics = sorted({topic for device in devices.values() for topic in device.writes})
    for topic in topics:
        join([name for name, device in devices.items() if topic in device.writes])
    for names in together:
        join(names)
    return sorted({tuple(sorted(group)) for group in joined.values()})


def _joined(names: tuple[str, ...], devices: Mapping[str, _Device]) -> User:
    writes = dict.fromkeys(topic for name in names for topic in devices[name].writes)
    reads = dict.fromkeys(topic for name in names for topic in devices[name].reads)
    return User(name=names[0], what=names, writes=tuple(writes), reads=tuple(reads))


def _controller(garden: Garden, nodes: Iterable[User]) -> User:
    """Writes what nodes hear, hears what they write, and talks to itself."""
    nodes = list(nodes)
    own = [garden.topic("canary"), garden.topic("controller_state")]
    writes = [*(t for node in nodes for t in node.reads), *own, garden.topic("alert")]
    reads = [*(t for node in nodes for t in node.writes), *own, _outlook(garden)]
    return User(
        name=garden.broker.username or CONTROLLER,
        what=("the controller",),
        writes=tuple(dict.fromkeys(writes)),
        reads=tuple(dict.fromkeys(reads)),
    )


def _outlook(garden: Garden) -> str:
    return garden.topic("outlook")


def _look(users: Sequence[User]) -> None:
    """Refuse what an access list cannot say."""
    names = [user.name for user in users]
    for name in names:
        if not re.fullmatch(r"[A-Za-z0-9_.-]{1,100}", name):
            msg = f"broker.username: {name[:40]!r}: letters, digits and _ . - only"
            raise UsageError(msg)
        if names.count(name) > 1:
            msg = f"broker.username: {name!r} is the name of a node's user too; choose another"
            raise UsageError(msg)
    for topic in (topic for user in users for topic in (*user.writes, *user.reads)):
        if not SAFE_TOPIC.fullmatch(topic) or topic != topic.strip():
            msg = f"{topic[:80]!r}: an access list cannot name this topic"
            raise UsageError(msg)
