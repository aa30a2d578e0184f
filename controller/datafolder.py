"""The data folder: where it lies, who holds it, and the small files in it.

`lock` (held by one process), `token` (the operator's, never in the database), `install` (an id that
the database repeats), `daemon.json` (where the running daemon is found), `alarms.json` (what was
told of alarms and what waits to get out), `backups.json` (when and where the last backup was made),
`thirstline.db`.
Small files are replaced whole: a power cut leaves the old one or the new one.
"""

from __future__ import annotations

import fcntl
import os
import secrets
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from controller.errors import LockedError, StoreError

LEAST_FREE_BYTES = 16 * 1024 * 1024  # [bytes] less free space than this is a caution
FOLDER_MODE = 0o700
FILE_MODE = 0o600
TOKEN_BYTES = 32  # [bytes] of randomness in the operator's token


class DaemonAddress(BaseModel):
    """Where a running daemon is found: `daemon.json`."""

    model_config = ConfigDict(frozen=True, extra="ignore", strict=True)

    url: str
    pid: int
    garden_file: str | None = None


def default_data_dir(garden_id: str, environ: Mapping[str, str]) -> Path:
    """Tell where a garden's data lies unless `--data` says otherwise.

    Args:
        garden_id: The garden's id from its file.
        environ: The environment of the process.

    Returns:
        `$STATE_DIRECTORY` (the first, where a service has several), else
        `$XDG_STATE_HOME/thirstline/<id>`, else `~/.local/state/thirstline/<id>`.
    """
    service = environ.get("STATE_DIRECTORY", "").split(":")[0]
    if service:
        return Path(service)
    state_home = environ.get("XDG_STATE_HOME", "")
    if not state_home.startswith("/"):  # XDG Base Directory: relative paths are to be ignored
        home = environ.get("HOME", "")
        state_home = str((Path(home) if home else Path.home()) / ".local" / "state")
    return Path(state_home) / "thirstline" / garden_id


class DataFolder:
    """One garden's data folder, made with mode 0700 where it is missing.

    Args:
        path: The folder.
        make: False only looks: a missing folder stays missing.

    Raises:
        StoreError: It cannot be made or is no folder.
    """

    def __init__(self, path: Path, *, make: bool = True) -> None:
        self.path = path
        self._lock_fd: int | None = None
        if not make:
            return
        try:
            path.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        except OSError as exc:
            msg = f"{path}: cannot make the data folder: {exc.strerror}"
            raise StoreError(msg) from exc

    @property
    def database(self) -> Path:
        """The database's file."""
        return self.path / "thirstline.db"

    def lock(self) -> None:
        """Hold the folder until `unlock` or the end of the process, kill -9 included.

        Raises:
            LockedError: Another process holds it; names the process where it is known.
            StoreError: The lock's file cannot be written.
        """
        if self._lock_fd is not None:
            return
        path = self.path / "lock"
        try:
            fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, FILE_MODE)
        except OSError as exc:
            msg = f"{path}: cannot open the lock: {exc.strerror}"
            raise StoreError(msg) from exc
        self.own(path)
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as exc:
            holder = os.read(fd, 20).decode("ascii", "replace").strip()
            os.close(fd)
            who = f"process {holder}" if holder.isdecimal() else "another process"
            msg = f"{path}: {who} holds this data folder; stop it first or choose another --data"
            raise LockedError(msg) from exc
        with suppress(OSError):  # a full disk: the lock holds all the same, without a name on it
            os.ftruncate(fd, 0)
            os.write(fd, f"{os.getpid()}\n".encode("ascii"))
        self._lock_fd = fd

    def unlock(self) -> None:
        """Let the folder go; nothing happens where it is not held."""
        if self._lock_fd is not None:
            os.close(self._lock_fd)
            self._lock_fd = None

    def token(self) -> str:
        """Read the operator's token; make it at the first start.

        Raises:
            StoreError: It can be neither read nor written.
        """
        path = self.path / "token"
        found = self._read_line("token")
        if found:
            with suppress(OSError):  # the file of somebody else: readable, so let it be
                path.chmod(FILE_MODE)
            return found
        made = secrets.token_urlsafe(TOKEN_BYTES)
        self._replace("token", made + "\n")
        return made

    def install_id(self) -> str | None:
        """Read the id that the database repeats; None where there is none yet."""
        return self._read_line("install") or None

    def write_install_id(self, install: str) -> None:
        """Keep the id that the database repeats.

        Raises:
            StoreError: It cannot be written.
        """
        self._replace("install", install + "\n")

    def write_daemon_json(self, url: str, pid: int, garden_file: str | None = None) -> None:
        """Say where the running daemon is found, and which garden file it reads.

        Raises:
            StoreError: It cannot be written.
        """
        told = DaemonAddress(url=url, pid=pid, garden_file=garden_file)
        self._replace("daemon.json", told.model_dump_json(exclude_none=True) + "\n")

    def read_daemon_json(self) -> DaemonAddress | None:
        """Read where the daemon is found; None where none says so in a readable way."""
        try:
            return DaemonAddress.model_validate_json((self.path / "daemon.json").read_bytes())
        except (OSError, ValidationError):
            return None

    def remove_daemon_json(self) -> None:
        """Take the daemon's address away, at its clean end."""
        with suppress(OSError):
            (self.path / "daemon.json").unlink()

    def read_alarms(self) -> str:
        """Read what was told of alarms, one line of JSON; empty where nothing was kept.

        Raises:
            StoreError: It cannot be read.
        """
        return self._read_line("alarms.json")

    def write_alarms(self, text: str) -> None:
        """Keep what was told of alarms.

        Raises:
            StoreError: It cannot be written.
        """
        self._replace("alarms.json", text + "\n")

    def read_runs(self) -> str:
        """Read the book of runs, one line of JSON; empty where there is none.

        Raises:
            StoreError: It cannot be read.
        """
        return self._read_line("runs.json")

    def write_runs(self, text: str) -> None:
        """Keep the book of runs.

        Raises:
            StoreError: It cannot be written.
        """
        self._replace("runs.json", text + "\n")

    def read_backups(self) -> str:
        """Read what is remembered of the last backup, one line of JSON; empty where nothing is.

        Raises:
            StoreError: It cannot be read.
        """
        return self._read_line("backups.json")

    def write_backups(self, text: str) -> None:
        """Remember the last backup.

        Raises:
            StoreError: It cannot be written.
        """
        self._replace("backups.json", text + "\n")

    def low_space_caution(self) -> str | None:
        """Say so where less space is free than the data folder needs; None where all is well."""
        try:
            stat = os.statvfs(self.path)
        except OSError as exc:
            return f"{self.path}: free space unknown: {exc.strerror}"
        free = stat.f_bavail * stat.f_frsize
        if free >= LEAST_FREE_BYTES:
            return None
        return f"{self.path}: {free / 1048576:.1f} MiB free, the data folder needs 16 MiB"

    def database_size(self) -> int:
        """Tell the database's length [bytes], 0 where it is missing."""
        try:
            return self.database.stat().st_size
        except FileNotFoundError:
            return 0
        except OSError as exc:
            msg = f"{self.database}: cannot look at it: {exc.strerror}"
            raise StoreError(msg) from exc

    def set_database_aside(self, why: str = "bad") -> Path | None:
        """Rename a database that cannot be used or gives way, its write-ahead log too.

        The suffix is the instant of its last change; the pair can be opened as it stands.

        Args:
            why: `bad` or `replaced`, part of the new name.

        Returns:
            The new name, or None where there was no database.

        Raises:
            StoreError: It cannot be renamed.
        """
        try:
            # The database before its log: if the power goes in between, the next start finds a
            # missing database, never an older one that looks whole.
            tails = [t for t in ("", "-wal") if self._database_part(t).exists()]
            if not tails:
                return None
            aside = self._free_name(self._database_part(tails[0]), why)
            for tail in tails:
                self._database_part(tail).rename(aside.with_name(aside.name + tail))
            self._database_part("-shm").unlink(missing_ok=True)
            self._sync_folder()
        except OSError as exc:
            msg = f"{self.database}: cannot set it aside: {exc.strerror}"
            raise StoreError(msg) from exc
        return aside

    def _database_part(self, tail: str) -> Path:
        return self.database.with_name(self.database.name + tail)

    def _free_name(self, changed_last: Path, why: str) -> Path:
        changed = datetime.fromtimestamp(changed_last.stat().st_mtime, tz=UTC)
        name = f"{self.database.name}.{why}-{changed:%Y%m%dT%H%M%SZ}"
        tries = [name, *(f"{name}.{i}" for i in range(2, 1000))]
        return next(p for p in map(self.path.joinpath, tries) if not p.exists())

    def _read_line(self, name: str) -> str:
        path = self.path / name
        try:
            lines = path.read_text("ascii").splitlines()
        except FileNotFoundError:
            return ""
        except (OSError, UnicodeError) as exc:
            msg = f"{path}: cannot be read: {exc}"
            raise StoreError(msg) from exc
        return lines[0].strip() if lines else ""

    def _replace(self, name: str, text: str) -> None:
        """Write a small file whole: a new file, synced, takes the old one's name."""
        path = self.path / name
        fresh = self.path / f".{name}.new"
        try:
            fd = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, FILE_MODE)
            with os.fdopen(fd, "w", encoding="ascii") as file:
                os.fchmod(fd, FILE_MODE)
                file.write(text)
                file.flush()
                os.fsync(fd)
            self.own(fresh)
            fresh.replace(path)
            self._sync_folder()
        except OSError as exc:
            msg = f"{path}: cannot be written: {exc.strerror}"
            raise StoreError(msg) from exc

    def own(self, path: Path) -> None:
        """Give a file that root made here to whoever the folder is: the service has to read it."""
        if os.geteuid() != 0:
            return
        with suppress(OSError):
            mine = self.path.stat()
            os.chown(path, mine.st_uid, mine.st_gid)

    def sync(self) -> None:
        """Have the names in the folder on disk.

        Raises:
            OSError: It cannot be done.
        """
        self._sync_folder()

    def _sync_folder(self) -> None:
        fd = os.open(self.path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)
