"""`thirstline broker-config`: settings, users and an access list for mosquitto, in a folder."""

from __future__ import annotations

import os
import secrets
import shutil
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import click

from api.garden_meant import garden_of
from api.options import json_flag, print_json, say
from controller.errors import UsageError, WrongUseError
from controller.garden import Garden
from controller.keeping.broker_users import (
    SALT_BYTES,
    User,
    access_list,
    hashed,
    settings,
    users_of,
)

CONF, ACL, HASHED = "thirstline.conf", "thirstline.acl", "thirstline.passwords"
CLEAR, OWN = "passwords-for-the-nodes.txt", "broker.pass"
BROKER_USER, SERVICE_USER = "mosquitto", "thirstline"
PASSWORD_BYTES = 16
PORT = 1883


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What was written: the users, and which of them got a password now."""

    folder: Path
    users: tuple[User, ...]
    fresh: tuple[str, ...]


def make(garden: Garden, folder: Path, together: list[list[str]], lan: tuple[str, ...]) -> Made:
    """Write the broker's files; a user that has a password keeps it.

    Args:
        garden: the garden file.
        folder: where they go.
        together: devices that are one box.
        lan: addresses of this machine that nodes reach it at, besides loopback.

    Raises:
        UsageError: a file cannot be written, or the garden file allows no such list.
    """
    if garden.broker.builtin:
        msg = "broker.url: 'builtin' has no users; name a broker such as mqtt://127.0.0.1:1883"
        raise UsageError(msg)
    users = users_of(garden, together)
    port = garden.broker.port or PORT
    listeners = [(host, port) for host in dict.fromkeys(["127.0.0.1", *lan])]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        known = _known(folder / HASHED)
        if not (folder / OWN).exists():
            known.pop(users[0].name, None)  # its password is needed in clear
        fresh = {
            u.name: secrets.token_urlsafe(PASSWORD_BYTES) for u in users if u.name not in known
        }
        lines = known | {
            name: hashed(name, word, secrets.token_bytes(SALT_BYTES))
            for name, word in fresh.items()
        }
        _put(folder / HASHED, "".join(f"{lines[u.name]}\n" for u in users), owner=BROKER_USER)
        _put(folder / ACL, access_list(users), owner=BROKER_USER)
        _put(
            folder / CONF,
            settings(str(folder.absolute()), listeners, len(users)),
            owner=BROKER_USER,
        )
        _tell(folder, users, fresh)
    except OSError as exc:
        msg = f"{folder}: cannot be written: {exc.strerror or exc}"
        raise UsageError(msg) from exc
    return Made(folder=folder, users=users, fresh=tuple(fresh))


def _tell(folder: Path, users: tuple[User, ...], fresh: dict[str, str]) -> None:
    """Lay new passwords down in clear: the daemon's own, and the nodes' to be typed in."""
    own = fresh.pop(users[0].name, None)
    if own is not None:
        _put(folder / OWN, own + "\n", owner=SERVICE_USER)
    if fresh:
        before = (folder / CLEAR).read_text(encoding="utf-8") if (folder / CLEAR).exists() else ""
        kept = [line for line in before.splitlines() if line.split(" ")[0] not in fresh]
        rows = [f"{name} {word}" for name, word in fresh.items()]
        _put(folder / CLEAR, "\n".join([*kept, *rows]) + "\n")


def _known(path: Path) -> dict[str, str]:
    """The lines of users that have a password."""
    if not path.exists():
        return {}
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if ":" in line]
    return {line.partition(":")[0]: line for line in lines}


def _put(path: Path, text: str, *, owner: str | None = None) -> None:
    """Write a file whole, for its owner alone: the broker's user, the service's, or ours."""
    fresh = path.with_name(f".{path.name}.new")
    fd = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o600)
    with os.fdopen(fd, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(fd)
    if owner is not None:
        with suppress(LookupError, PermissionError):  # no such user here, or not ours to give
            shutil.chown(fresh, owner)
    fresh.replace(path)


@click.command(
    name="broker-config", short_help="Write settings and users for the mosquitto broker."
)
@click.argument("garden")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="A folder.")
@click.option("--lan", multiple=True, metavar="ADDRESS", help="This board's address for nodes.")
@click.option(
    "--together", multiple=True, metavar="A,B", help="One box: one user. `all` for virtual nodes."
)
@json_flag
def broker_config(
    garden: str, out: Path, lan: tuple[str, ...], together: tuple[str, ...], as_json: bool
) -> None:
    """Write settings, users and an access list for mosquitto from the garden file.

    Each node may say its own words only; valves are opened by the controller alone. Run again
    after the garden file changed: passwords that are there stay.

    Example:  thirstline broker-config my-garden.toml --out /etc/thirstline/broker
    """
    if any(not address or any(c.isspace() for c in address) for address in lan):
        msg = "--lan: an address of this machine, such as 192.168.1.10"
        raise WrongUseError(msg)
    setting, _ = garden_of(garden)
    made = make(setting, out, [one.split(",") for one in together], lan)
    if as_json:
        print_json(_json(made))
        return
    for user in made.users:
        click.echo(f"{user.name:<20}{', '.join(user.what)}")
    say(f"Written: {out}/ {CONF}, {ACL}, {HASHED}, {OWN}, {CLEAR}")
    say(f"New passwords for: {', '.join(made.fresh) or 'nobody'}")
    say(f"The nodes' stand in {out / CLEAR}: type them in, then delete that file.")
    say(f"In mosquitto.conf: include_dir, or a line in conf.d that names {out / CONF}.")
    say(
        f'In the garden file: username = "{made.users[0].name}", '
        f'password_file = "{(out / OWN).absolute()}"'
    )


def _json(made: Made) -> dict[str, object]:
    rows = [
        {"name": u.name, "devices": u.what, "writes": u.writes, "reads": u.reads}
        for u in made.users
    ]
    return {"folder": str(made.folder), "users": rows, "new_passwords": made.fresh}
