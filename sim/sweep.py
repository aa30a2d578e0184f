"""Many replays: seasons x settings x seeds x policies, here on all cores or on a Dask cluster.

Each run is a task of its own that any process can do; rows come as runs end, in any order. Packages
that spread the work are looked for only when they are needed.
"""

from __future__ import annotations

import importlib
import importlib.metadata
import signal
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from types import ModuleType

from controller.errors import UsageError
from controller.garden import Garden
from sim.season_types import Season
from sim.sweep_rows import (
    Row,
    Task,
    code_digest,
    digest_of,
    run_task,
    season_by_name,
)
from sim.sweep_vary import Setting
from sim.weather import season_names

ANSWER_S = 15.0  # [s] real, that a Dask scheduler, and then its first worker, may take to answer

Runner = Callable[[Sequence[Task]], Iterator[Row]]
Weather = Callable[[Garden, str], tuple[Season | str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """What is swept, in the order of the command line.

    Attributes:
        settings: combinations of varied values.
        seasons: names or paths.
        seeds: draw unsure worlds; the same for all, so that runs can be compared in pairs.
        policies: who waters.
        sure: whether worlds are exactly as the garden file says.
        first: first day or None.
        last: last day or None.
    """

    settings: tuple[Setting, ...]
    seasons: tuple[str, ...]
    seeds: tuple[int, ...]
    policies: tuple[str, ...]
    sure: bool = False
    first: date | None = None
    last: date | None = None

    def tasks(self, weather: Weather) -> list[Task]:
        """All runs: for each season, setting and seed the policies side by side.

        Args:
            weather: gives the season that a garden has under a name, and its digest.

        Raises:
            SeasonError: a season cannot be used.
        """
        code = code_digest()
        gardens = [one.garden.model_dump_json() for one in self.settings]
        return [
            Task(
                garden=text,
                season=season,
                season_digest=digest,
                setting=setting.words,
                seed=seed,
                sure=self.sure,
                policy=policy,
                first=self.first,
                last=self.last,
                code=code,
            )
            for name in self.seasons
            for setting, text in zip(self.settings, gardens, strict=True)
            for season, digest in [weather(setting.garden, name)]
            for seed in self.seeds
            for policy in self.policies
        ]

    def swept(self, garden: Garden) -> dict[str, str]:
        """What a file of rows has to be of; runs within it may differ in all else."""
        return {
            "garden": garden.garden.id,
            "garden digest": digest_of(garden.model_dump_json()),
            "version": importlib.metadata.version("thirstline"),
            "program digest": code_digest(),
            "world": "sure" if self.sure else "drawn",
            "from": str(self.first or "transplanting"),
            "to": str(self.last or "end of season"),
        }


def weather_of(garden: Garden, name_or_path: str) -> tuple[Season | str, str]:
    """What a task is sent: a name that each installation knows, or the weather of a file.

    Raises:
        SeasonError: it cannot be read or used.
    """
    season, digest = season_by_name(garden, name_or_path)
    return name_or_path if name_or_path in season_names() else season, digest


def runner(jobs: int | None, dask: str | None) -> Runner:
    """Choose where runs are done.

    Args:
        jobs: processes; None for one a core.
        dask: address of a Dask scheduler or None.

    Raises:
        UsageError: a package is missing; says how to install it.
    """
    if dask is not None:
        distributed = _needed("distributed", "dask", "--dask")
        return lambda tasks: _on_dask(distributed, dask, tasks)
    if jobs == 1:
        return lambda tasks: map(run_task, tasks)
    joblib = _needed("joblib", "sweep", "more than one process")
    cores = joblib.cpu_count() if jobs is None else jobs
    return lambda tasks: _on_cores(joblib, cores, tasks)


def run_all(
    tasks: Sequence[Task], run: Runner, kept: Mapping[str, Row], ended: Callable[[Row], None]
) -> bool:
    """Run what is not there yet; an interrupt ends it with what has ended by then.

    Args:
        tasks: all runs asked for.
        run: where they are done.
        kept: rows that are there already, by key.
        ended: told each new row at once.

    Returns:
        Whether all runs are done.

    Raises:
        UsageError: a run cannot be done, or the cluster does not answer.
    """
    missing = [task for task in tasks if task.key not in kept]
    if not missing:
        return True
    with _interrupts() as interrupts:
        try:
            for done, row in enumerate(run(missing), start=1):
                interrupts.wait = True  # a row that has come is written whole
                ended(row)
                interrupts.wait = False
                if interrupts.asked:
                    return done == len(missing)
        except KeyboardInterrupt:
            return False
    return True


class _Interrupts:
    """Ctrl-C and the request to end, put off while a row is being written."""

    def __init__(self) -> None:
        self.wait = False
        self.asked = False

    def __call__(self, _number: int, _frame: object) -> None:
        self.asked = True
        if not self.wait:
            raise KeyboardInterrupt


@contextmanager
def _interrupts() -> Iterator[_Interrupts]:
    heard = _Interrupts()
    before = {number: signal.signal(number, heard) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield heard
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _needed(package: str, extra: str, what: str) -> ModuleType:
    try:
        return importlib.import_module(package)
    except ModuleNotFoundError as exc:
        msg = f"{what} needs the package {package}: pip install 'thirstline[{extra}]'"
        raise UsageError(msg) from exc


def _on_cores(joblib: ModuleType, jobs: int, tasks: Sequence[Task]) -> Iterator[Row]:
    # Batches of one: a row is written as soon as it is there, and the last ones are shared out.
    spread = joblib.Parallel(
        n_jobs=jobs, backend="loky", batch_size=1, return_as="generator_unordered"
    )
    # Workers are made here, deaf to Ctrl-C: that is for the process that asked to hear.
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        rows = spread(joblib.delayed(run_task)(task) for task in tasks)
    finally:
        signal.signal(signal.SIGINT, before)
    try:
        # not `yield from`: that would close them before the `finally`
        for row in rows:  # noqa: UP028
            yield row
    finally:
        with warnings.catch_warnings():  # that runs are given up is what was asked for
            warnings.simplefilter("ignore")
            rows.close()


def _on_dask(distributed: ModuleType, address: str, tasks: Sequence[Task]) -> Iterator[Row]:
    try:
        client = distributed.Client(address, timeout=ANSWER_S, set_as_default=False)
    except (OSError, ValueError) as exc:  # TimeoutError is an OSError
        msg = f"--dask {address[:80]}: no Dask scheduler answers there: {exc}"
        raise UsageError(msg) from exc
    with client:
        try:
            client.wait_for_workers(1, timeout=ANSWER_S)
        except TimeoutError as exc:
            msg = f"--dask {address[:80]}: the cluster has no workers"
            raise UsageError(msg) from exc
        futures = client.map(run_task, tasks, pure=False)
        try:
            for future in distributed.as_completed(futures, loop=client.loop):
                yield future.result()
        finally:
            client.cancel(futures)
