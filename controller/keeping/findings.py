"""What `doctor` finds of the board: clock, disk, card, memory, heat, broker, daemon. Pure.

Each check takes what was read and gives a finding: what was found, whether it is well, and what to
do. What could not be read is `unknown`, never well. Limits are ours unless a source stands beside.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from controller.datafolder import LEAST_FREE_BYTES

MB, GB = 1e6, 1e9
SEASON_BYTES = 200 * MB  # a season's record at 64 probes (DEVELOPERS.md, What a season takes)
MEMORY_LOW_BYTES = 64 * MB
MEMORY_OUT_BYTES = 24 * MB
DAEMON_MOST_BYTES = 200 * MB  # of the 256 MB that the service allows
HOT_C = 80.0  # small boards slow down from here on (common practice, no source)
WORN_TENTH = 9  # eMMC life time estimate: 0x09 is 80 to 90 % of its life (JEDEC JESD84-B51 7.4)
WORN_OUT_TENTH = 11


class Health(StrEnum):
    """How a check ended."""

    WELL = "well"
    CAUTION = "caution"
    BAD = "bad"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One check: what was found and what to do; `todo` is empty where all is well."""

    check: str
    health: Health
    found: str
    todo: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """What was read of the board; None where it could not be read."""

    clock_synced: bool
    clock_plausible: bool
    clock_chip: bool
    free_bytes: int | None
    read_only: bool | None
    database_bytes: int
    disk_errors: int | None
    worn_tenth: int | None  # 1 to 11, tenths of the card's life
    worn_warning: int | None  # 1 normal, 2 warning, 3 urgent
    memory_free_bytes: int | None
    daemon_bytes: int | None
    board_c: float | None


def well(check: str, found: str) -> Finding:
    """All is well."""
    return Finding(check=check, health=Health.WELL, found=found)


def caution(check: str, found: str, todo: str) -> Finding:
    """It works, and something should be done."""
    return Finding(check=check, health=Health.CAUTION, found=found, todo=todo)


def bad(check: str, found: str, todo: str) -> Finding:
    """Something has to be done."""
    return Finding(check=check, health=Health.BAD, found=found, todo=todo)


def unknown(check: str, found: str, todo: str = "") -> Finding:
    """It could not be read."""
    return Finding(check=check, health=Health.UNKNOWN, found=found, todo=todo)


def board_findings(board: Board) -> list[Finding]:
    """All that concerns the board itself."""
    return [clock(board), disk(board), card(board), memory(board), heat(board)]


def clock(board: Board) -> Finding:
    """Whether the wall clock is set from outside, and kept over a power cut."""
    name = "clock"
    if not board.clock_plausible:
        return bad(
            name,
            "The clock shows a time before this program was written.",
            "Set it: connect the board to a network, or `timedatectl set-time`. Until then stages "
            "and hours go by the last time that was known.",
        )
    if not board.clock_synced:
        return caution(
            name,
            "The clock was not set from outside since the boot.",
            "See `timedatectl`: is the network there, is time synchronisation on? A limit then "
            "ages only while the board runs.",
        )
    if not board.clock_chip:
        return caution(
            name,
            "The clock is set from the network; the board has no clock chip.",
            "After a power cut without a network the time is unknown. A clock chip with a battery "
            "is cheap.",
        )
    return well(name, "The clock is set from outside, and a clock chip keeps it.")


def room(many: float) -> str:
    """Bytes as people say them: `90 MB`, `1.2 GB`, `78 GB`."""
    if 0.0 < many < 0.5 * MB:
        return "less than 1 MB"
    if many < GB:
        return f"{many / MB:.0f} MB"
    return f"{many / GB:.1f} GB" if many < 9.95 * GB else f"{many / GB:.0f} GB"


def disk(board: Board) -> Finding:
    """Whether there is room, and whether it can be written to."""
    name = "disk"
    if board.read_only:
        return bad(
            name,
            "The data folder's disk is read-only, so nothing opens.",
            "A file system that turned read-only has seen errors: `dmesg`, then back up and change "
            "the card.",
        )
    if board.free_bytes is None:
        return unknown(name, "The free space cannot be read.")
    free = f"{room(board.free_bytes)} free, the record takes {room(board.database_bytes)}"
    if not board.free_bytes >= LEAST_FREE_BYTES:
        return bad(name, f"{free}.", "Make room: without a record nothing opens.")
    if not board.free_bytes >= SEASON_BYTES:
        return caution(name, f"{free}.", "A season may take 200 MB: make room in time.")
    return well(name, f"{free}.")


def card(board: Board) -> Finding:
    """Whether the card tells of errors or of its wear; most cards tell nothing."""
    name = "card"
    change = "Back up, and change the card or disk."
    if board.disk_errors:
        return bad(name, f"The file system has counted {board.disk_errors} errors.", change)
    warned = board.worn_warning is not None and board.worn_warning > 1
    tenth = board.worn_tenth
    if warned or (tenth is not None and tenth >= WORN_OUT_TENTH):
        return bad(name, "The card says that its life is over.", change)
    if tenth is not None and tenth >= WORN_TENTH:
        share = f"{10 * (tenth - 1)} to {10 * tenth} %"
        return caution(name, f"The card says that {share} of its life is used.", change)
    if tenth is not None and tenth > 0:
        return well(name, f"The card says that at most {10 * tenth} % of its life is used.")
    return unknown(
        name,
        "The card does not tell its wear.",
        "Most do not. Use one made for constant writing, and keep backups elsewhere.",
    )


def memory(board: Board) -> Finding:
    """Whether there is memory left, and what the daemon takes."""
    name = "memory"
    if board.memory_free_bytes is None:
        return unknown(name, "The free memory cannot be read.")
    told = f"{room(board.memory_free_bytes)} free"
    if board.daemon_bytes is not None:
        told += f", the daemon takes {room(board.daemon_bytes)}"
    if not board.memory_free_bytes >= MEMORY_OUT_BYTES:
        return bad(name, f"{told}.", "End other programs: the system may soon end the daemon.")
    if not board.memory_free_bytes >= MEMORY_LOW_BYTES:
        return caution(name, f"{told}.", "See with `top` what takes it.")
    if board.daemon_bytes is not None and not board.daemon_bytes <= DAEMON_MOST_BYTES:
        return caution(name, f"{told}.", "That is more than it should: tell the developers.")
    return well(name, f"{told}.")


def heat(board: Board) -> Finding:
    """Whether the board runs hot."""
    name = "heat"
    if board.board_c is None:
        return unknown(name, "The board does not tell its temperature.")
    told = f"The board is at {board.board_c:.0f} °C."
    if board.board_c >= HOT_C:
        return caution(name, told, "Give it shade and air: it slows down when hot, and ages.")
    return well(name, told)
