"""`thirstline install-service`: the service's files written, after a look at what they rest on."""

from __future__ import annotations

import ipaddress
import os
import re
import sys
from dataclasses import dataclass
from pathlib import Path

import click

from api.close_command import program_path
from api.garden_meant import garden_of
from api.options import json_flag, print_json
from controller.errors import UsageError, WrongUseError
from controller.garden import Garden
from controller.keeping.unit import Service, service_files

GARDEN_FILE = "etc/thirstline/garden.toml"
HIDDEN = {"home", "root", "tmp"}  # below /, or below /var: what the service cannot see
NEXT = (
    "systemd-sysusers",
    "systemctl restart systemd-journald",
    "systemctl daemon-reload",
    "systemctl enable --now thirstline.service thirstline-backup.timer",
    "systemctl status thirstline.service",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is to be written, what stands in the way, and what is to be said."""

    files: dict[str, str]
    faults: tuple[str, ...]
    said: tuple[str, ...]


def plan(garden: Garden, text: str, service: Service) -> Plan:
    """Work out the files, and look at what they rest on.

    Args:
        garden: the garden file, checked.
        text: the same as it stands.
        service: how the service is to run.
    """
    files = {**service_files(service), GARDEN_FILE: text}
    faults = []
    if not Path(service.command).exists():
        faults.append(f"{service.command}: there is no such program; install Thirstline first.")
    if HIDDEN & set(Path(service.command).parts[1:3]):
        faults.append(
            f"{service.command}: the service cannot see this place. Install Thirstline in /opt: "
            "python3 -m venv /opt/thirstline, and its own pip."
        )
    if garden.broker.builtin:
        faults.append("broker.url: 'builtin' is for trials; a garden needs a broker of its own.")
    password = garden.broker.password_file
    if password is None:
        faults.append(
            "broker.password_file: there is none. Anybody on a broker without users can open "
            "valves: thirstline broker-config makes one with users."
        )
    return Plan(files=files, faults=tuple(faults), said=tuple(_said(garden, service)))


def _said(garden: Garden, service: Service) -> list[str]:
    said = []
    if garden.broker.password_file is not None:
        said.append(
            f"The service has to read its password: after systemd-sysusers, as root: "
            f"chown {service.user} {garden.broker.password_file}"
        )
    if garden.alarm.mail is not None and service.allow is None:
        said.append(
            "Mail goes to a server outside, so the service may speak with every address. With "
            "--allow NETWORK for the mail server's (and the nodes') it is fenced again."
        )
    if garden.alarm.command is not None:
        said.append(
            "The alarm's command runs within the service's fence: it sees no home folders, and "
            "reaches only the networks that are allowed."
        )
    if not garden.page.on_loopback and service.allow == ():
        said.append("Phones reach the page only from networks that --allow names.")
    return said


def write(files: dict[str, str], root: Path, *, replace: bool) -> list[str]:
    """Write every file whole, or none where one of another content stands there.

    Args:
        files: by path below the root.
        root: `/`, or another for tests and images.
        replace: write over what stands there; a garden file is never written over.

    Raises:
        UsageError: something stands there, or a file cannot be written.
    """
    others = [name for name, text in files.items() if not _same(root / name, text)]
    others = [name for name in others if (root / name).exists() and name != GARDEN_FILE]
    if others and not replace:
        msg = f"{root / others[0]}: another one stands there; --replace writes it over"
        raise UsageError(msg)
    done = []
    for name, text in files.items():
        path = root / name
        if name == GARDEN_FILE and path.exists():
            done.append(f"{path}: stands there already, left as it is")
            continue
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            fresh = path.with_name(f".{path.name}.new")
            fresh.write_text(text, encoding="utf-8")
            fresh.chmod(0o644)
            fresh.replace(path)
        except OSError as exc:
            msg = f"{path}: cannot be written: {exc.strerror or exc}"
            raise UsageError(msg) from exc
        done.append(f"{path}: written")
    return done


def _same(path: Path, text: str) -> bool:
    try:
        return path.read_text(encoding="utf-8") == text
    except (OSError, UnicodeDecodeError):
        return False


def _networks(told: tuple[str, ...]) -> tuple[str, ...]:
    for one in told:
        try:
            ipaddress.ip_network(one, strict=False)
        except ValueError as exc:
            msg = f"--allow: {one[:60]!r} is no network such as 192.168.1.0/24"
            raise WrongUseError(msg) from exc
    return told


def _service(
    garden: Garden, user: str, allow: tuple[str, ...], backups: str | None, keep: int, command: str
) -> Service:
    if not re.fullmatch(r"[a-z_][a-z0-9_-]{0,30}", user) or user == "root":
        msg = f"--user: {user[:40]!r} is no name of a service's user"
        raise WrongUseError(msg)
    if backups is not None and not backups.startswith("/"):
        msg = "--backups: an absolute path, such as /media/stick"
        raise WrongUseError(msg)
    open_to_all = garden.alarm.mail is not None and not allow
    return Service(
        command=command,
        garden_file=f"/{GARDEN_FILE}",
        name=garden.garden.name or garden.garden.id,
        user=user,
        state="thirstline",
        allow=None if open_to_all else _networks(allow),
        backups=backups or "/var/lib/thirstline/backups",
        keep=keep,
    )


@click.command(name="install-service", short_help="Write the service: unit, user, backup timer.")
@click.argument("garden")
@click.option("--user", default="thirstline", show_default=True, help="Whom it runs as.")
@click.option("--allow", multiple=True, metavar="NETWORK", help="Whom it may speak with.")
@click.option("--backups", default=None, help="Where the daily backup goes.")
@click.option("--keep", type=click.IntRange(1, 1000), default=14, show_default=True)
@click.option("--command", default=None, help="The program, in place of this one.")
@click.option("--prefix", type=click.Path(path_type=Path), default=None, help="In place of /.")
@click.option("--replace", is_flag=True, help="Write over what stands there.")
@click.option("--dry-run", is_flag=True, help="Print, write nothing.")
@json_flag
def install_service(
    garden: str,
    user: str,
    allow: tuple[str, ...],
    backups: str | None,
    keep: int,
    command: str | None,
    prefix: Path | None,
    replace: bool,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Write the service: unit, user, backup timer, the journal's bound, the garden file's place.

    Looks first at what they rest on, and starts nothing.

    Example:  thirstline install-service my-garden.toml --allow 192.168.1.0/24 --dry-run
    """
    setting, path = garden_of(garden)
    program = command or str(program_path(sys.argv[0], sys.executable))
    service = _service(setting, user, allow, backups, keep, program)
    made = plan(setting, path.read_text(encoding="utf-8"), service)
    done: list[str] = []
    if not made.faults and not dry_run:
        done = write(made.files, prefix or Path("/"), replace=replace)
    if as_json:
        print_json({"files": made.files, "faults": made.faults, "said": made.said, "done": done})
    else:
        _print(made, done, dry_run)
    if made.faults:
        raise SystemExit(1)


def _print(made: Plan, done: list[str], dry_run: bool) -> None:
    if dry_run:
        for name, text in made.files.items():
            click.echo(f"# /{name}\n{text}")
    for line in (*done, *made.said):
        click.echo(line)
    for fault in made.faults:
        click.echo(fault, err=True)
    if made.faults:
        click.echo("Nothing was written.", err=True)
    elif os.geteuid() == 0 or dry_run:
        click.echo("Then, as root:\n  " + "\n  ".join(NEXT))
