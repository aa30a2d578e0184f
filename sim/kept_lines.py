"""Finished trials of one kind in a file, one a line, so that a command can go on where it ended.

The first line says of what program and trial the file is; each further line is one JSON object with
its key. A file of another program or trial is refused. A last line that a crash cut off is dropped.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from controller.errors import UsageError

KEY = "key"


class KeptLines:
    """Trials by their keys, in memory and, where a path is told, in a file.

    Args:
        path: the file, made where it is missing; None for none.
        of: what the trials are of, as words; all of it has to be the same in the file.

    Raises:
        UsageError: the file cannot be used or is another's.
    """

    def __init__(self, path: Path | None, of: Mapping[str, str]) -> None:
        self.kept: dict[str, dict[str, Any]] = {}
        self._path = path
        if path is not None:
            try:
                self._begin(path, dict(of))
            except (OSError, ValueError) as exc:
                msg = f"--out {path}: cannot be used: {exc}"
                raise UsageError(msg) from exc

    def _begin(self, path: Path, of: dict[str, str]) -> None:
        text = path.read_text(encoding="utf-8") if path.exists() else ""
        whole, _, torn = text.rpartition("\n")
        if torn:
            path.write_text(whole + "\n" if whole else "", encoding="utf-8")
        lines = whole.splitlines()
        if not lines:
            path.write_text(json.dumps(of) + "\n", encoding="utf-8")
            return
        found = json.loads(lines[0])
        if found != of:
            msg = f"holds trials of {found}, these are of {of}; choose another file"
            raise ValueError(msg)
        for line in lines[1:]:
            one = json.loads(line)
            self.kept[one[KEY]] = one

    def add(self, key: str, trial: Mapping[str, Any]) -> None:
        """Keep a finished trial; it is in the file once this returns.

        Args:
            key: what tells it from all others.
            trial: plain values.
        """
        told = {KEY: key, **trial}
        self.kept[key] = told
        if self._path is not None:
            with self._path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(told) + "\n")
