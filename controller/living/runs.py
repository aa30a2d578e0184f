"""The book of runs in the data folder: whether the last one ended well, and how many began lately.

It is one small file, replaced whole. A run that lives for ten minutes counts as no part of a loop;
a gap whose length nobody can tell (a reboot without a set clock) counts as none.
"""

from __future__ import annotations

import logging
from dataclasses import asdict, dataclass

from pydantic import BaseModel, ConfigDict, ValidationError

from controller.datafolder import DataFolder
from controller.errors import StoreError
from controller.living.crashes import WITHIN_S
from controller.trusted import ClockStamp, trusted_gap_s

log = logging.getLogger(__name__)

KEPT_MOST = 20  # starts


class _Page(BaseModel):
    """What the file holds; `starts_s` are trusted seconds, `stamp` is of the last start."""

    model_config = ConfigDict(extra="ignore", strict=True)

    ended_well: bool
    at_s: float
    starts_s: list[float]
    boot_id: str
    mono_s: float
    utc_s: float
    synced: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Lately:
    """What went before this run: a crash, and how many starts within ten minutes, this one too."""

    crashed: bool = False
    starts: int = 1


class RunBook:
    """Keeps the book of one data folder; whoever holds its lock may write.

    Args:
        folder: the data folder.
    """

    def __init__(self, folder: DataFolder) -> None:
        self._folder = folder
        self._page: _Page | None = None

    def begin(self, now: ClockStamp, *, scaled: bool) -> Lately:
        """Open a page for this run; a file that cannot be read or written changes nothing."""
        last = self._read()
        at_s = 0.0
        starts_s: list[float] = []
        if last is not None:
            at_s = last.at_s + trusted_gap_s(_stamp(last), now, scaled)
            if not last.ended_well:
                starts_s = [s for s in last.starts_s if at_s - s <= WITHIN_S]
        starts_s = [*starts_s, at_s][-KEPT_MOST:]
        told = {key: value for key, value in asdict(now).items() if key != "trusted_s"}
        self._page = _Page(ended_well=False, at_s=at_s, starts_s=starts_s, **told)
        self._write()
        crashed = last is not None and not last.ended_well
        return Lately(crashed=crashed, starts=len(starts_s))

    def lived(self) -> None:
        """This run is part of no loop: it has lived for ten minutes."""
        if self._page is not None and self._page.starts_s:
            self._page.starts_s = []
            self._write()

    def end(self) -> None:
        """This run ends well."""
        if self._page is not None:
            self._page.ended_well = True
            self._write()

    def _read(self) -> _Page | None:
        try:
            text = self._folder.read_runs()
            return _Page.model_validate_json(text) if text else None
        except (StoreError, ValidationError):
            log.warning("the book of runs cannot be read: it begins anew")
            return None

    def _write(self) -> None:
        if self._page is None:
            return
        try:
            self._folder.write_runs(self._page.model_dump_json())
        except StoreError as exc:  # a full disk: nothing opens then anyway
            log.warning("%s", exc)


def _stamp(page: _Page) -> ClockStamp:
    return ClockStamp(
        boot_id=page.boot_id,
        mono_s=page.mono_s,
        utc_s=page.utc_s,
        synced=page.synced,
        trusted_s=page.at_s,
    )
