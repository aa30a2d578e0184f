"""Runs of a trial, each once: what stands in the file already is not run again."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

from controller.garden import Garden
from sim.sweep import Sweep, run_all, runner, weather_of
from sim.sweep_file import SweepFile
from sim.sweep_rows import Row


@dataclass(frozen=True, slots=True, kw_only=True)
class Runs:
    """How runs are done and kept.

    Attributes:
        out: a CSV file or None.
        jobs: processes; None for one a core.
    """

    out: Path | None
    jobs: int | None

    def of(self, garden: Garden, planned: Sequence[Sweep]) -> list[Row]:
        """Run all that is planned and does not stand in the file yet.

        Args:
            garden: the garden file that all settings are made of.
            planned: sweeps of one kind of world and the same days.

        Returns:
            A row a run that has ended, in the order of what is planned; all unless interrupted.

        Raises:
            UsageError: the file is another's, or a run cannot be done.
            SeasonError: a season cannot be used.
        """
        tasks = [task for one in planned for task in one.tasks(weather_of)]
        opened = (
            nullcontext(None)
            if self.out is None
            else SweepFile(self.out, planned[0].swept(garden), list(garden.beds))
        )
        with opened as kept:
            rows = {} if kept is None else dict(kept.kept)

            def ended(row: Row) -> None:
                rows[row.key] = row
                if kept is not None:
                    kept.add(row)
                done = sum(task.key in rows for task in tasks)
                sys.stderr.write(f"\r{done} of {len(tasks)} runs")

            run_all(tasks, runner(self.jobs, None), rows, ended)
        sys.stderr.write("\n")
        return [rows[task.key] for task in tasks if task.key in rows]
