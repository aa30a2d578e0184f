"""`thirstline doctor`: the board, the broker, the nodes, the record and its backups looked over."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import click

from api import look
from api.care_system import System
from api.folders import folder_meant
from api.garden_meant import garden_of
from api.options import data_option, json_flag, print_json, say
from controller.alarming.reports import way_words
from controller.datafolder import DaemonAddress, DataFolder
from controller.errors import GardenError, ThirstlineError
from controller.garden import Garden
from controller.keeping.findings import Finding, Health, board_findings
from controller.keeping.garden_findings import Seen, garden_findings
from controller.keeping.last import backup_state
from controller.keeping.looking import Record, look_at

MARKS = {
    Health.WELL: "well",
    Health.CAUTION: "LOOK",
    Health.BAD: "BAD",
    Health.UNKNOWN: "?",
}


def examine(
    folder: DataFolder, garden_file: str | None, system: System, *, deep: bool = False
) -> list[Finding]:
    """Look everything over.

    Args:
        folder: the data folder.
        garden_file: a file or an example's name; None: the one that the daemon reads.
        system: the board.
        deep: looks through every page of the record.
    """
    address, shown = folder.read_daemon_json(), _daemon(folder)
    record = look_at(folder, deep=deep)
    pid = None if shown is None or address is None else address.pid
    board = system.board(folder.path, pid, folder.database_size())
    found = board_findings(board)
    if record.fault:
        found.append(
            Finding(
                check="record",
                health=Health.BAD,
                found=record.fault,
                todo="A daemon that never ran leaves none. Else: thirstline restore BACKUP.",
            )
        )
    return found + garden_findings(
        _seen(folder, shown, record, _garden_file(garden_file, address), system)
    )


def _daemon(folder: DataFolder) -> dict[str, Any] | None:
    try:
        return look.garden_now(folder)
    except ThirstlineError:
        return None


def _garden_file(told: str | None, address: DaemonAddress | None) -> str | None:
    if told is not None or address is None:
        return told
    return address.garden_file


def _seen(
    folder: DataFolder,
    shown: dict[str, Any] | None,
    record: Record,
    garden_file: str | None,
    system: System,
) -> Seen:
    garden, path, faults = _file(garden_file)
    known = record.garden or garden
    now_utc_s = system.now_utc_s()
    url = None if known is None else known.broker.url
    return Seen(
        running=shown is not None,
        picture=shown or record.picture,
        broker=str(shown["broker"]) if shown is not None else url or "",
        broker_reached=_reached(url, system),
        boots=record.boots,
        backups=backup_state(folder, now_utc_s),
        garden_file=path,
        same_file=None if garden is None or record.garden is None else garden == record.garden,
        today=_today(known, now_utc_s),
        file_faults=faults,
        ways=() if known is None else tuple(way_words(known).values()),
        record=record.whole,
        lost=record.lost,
    )


def _file(name: str | None) -> tuple[Garden | None, str, tuple[str, ...]]:
    if name is None:
        return None, "", ()
    try:
        garden, path = garden_of(name)
    except GardenError as exc:
        return None, name, tuple(exc.faults)
    except ThirstlineError as exc:
        return None, name, (str(exc),)
    return garden, str(path), ()


def _today(garden: Garden | None, now_utc_s: float) -> date:
    now = datetime.fromtimestamp(now_utc_s, UTC)
    return now.date() if garden is None else now.astimezone(garden.garden.zone).date()


def _reached(url: str | None, system: System) -> bool | None:
    if url is None or url == "builtin":
        return None
    parts = urlsplit(url)
    return system.listens(parts.hostname or "", parts.port or 1883)


@click.command(short_help="Look over board, clock, disk, broker and nodes.")
@click.argument("garden", required=False)
@click.option("--deep", is_flag=True, help="Look through every page of the record too.")
@data_option
@json_flag
@click.pass_context
def doctor(
    ctx: click.Context, garden: str | None, deep: bool, data: Path | None, as_json: bool
) -> None:
    """Look over board, clock, disk, broker, nodes, record, walk and backups.

    Says of each what was found and what to do. Status 1 where something has to be done.

    Example:  thirstline doctor --data /var/lib/thirstline
    """
    system = ctx.obj if isinstance(ctx.obj, System) else System()
    found = examine(folder_meant(garden, data), garden, system, deep=deep)
    if as_json:
        print_json({"well": not _any(found, Health.BAD), "checks": look.plain(found)})
    else:
        say(told(found))
    if _any(found, Health.BAD):
        raise SystemExit(1)


def told(found: list[Finding]) -> str:
    """The findings for people, the gravest with what to do below them."""
    lines = []
    for one in found:
        lines.append(f"{MARKS[one.health]:<6}{one.check:<14}{one.found}")
        if one.todo:
            lines.append(f"{'':<20}{one.todo}")
    counts = {health: sum(one.health is health for one in found) for health in Health}
    lines += ["", _sum(counts)]
    return "\n".join(lines)


def _sum(counts: dict[Health, int]) -> str:
    if counts[Health.BAD]:
        return f"{counts[Health.BAD]} to be done, {counts[Health.CAUTION]} to be looked at."
    if counts[Health.CAUTION]:
        return f"Nothing is broken; {counts[Health.CAUTION]} to be looked at."
    return "All is well."


def _any(found: list[Finding], health: Health) -> bool:
    return any(one.health is health for one in found)
