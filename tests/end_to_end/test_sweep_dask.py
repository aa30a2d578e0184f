"""The same seed gives the same row wherever it ran: here, in two processes, on a Dask cluster."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest

from controller.errors import UsageError
from controller.garden_file import read_document
from sim.examples import find_garden
from sim.sweep import Sweep, run_all, runner, weather_of
from sim.sweep_rows import Row, Task
from sim.sweep_vary import settings_of

distributed = pytest.importorskip("distributed", reason="the extra `dask` is not installed")
pytest.importorskip("joblib", reason="the extra `sweep` is not installed")


@pytest.fixture(scope="module")
def tasks() -> list[Task]:
    return Sweep(
        settings=tuple(settings_of(read_document(find_garden("hollin-lane")).data, [])),
        seasons=("invented-dry", "invented-wet"),
        seeds=(1, 2),
        policies=("daily-clock",),
        first=date(2025, 7, 1),
        last=date(2025, 7, 2),
    ).tasks(weather_of)


@pytest.fixture(scope="module")
def here(tasks: list[Task]) -> dict[str, tuple[Any, ...]]:
    return rows_of(tasks, jobs=1)


def rows_of(
    tasks: list[Task], *, jobs: int | None = None, dask: str | None = None
) -> dict[str, tuple[Any, ...]]:
    found: list[Row] = []
    assert run_all(tasks, runner(jobs, dask), {}, found.append)
    assert len(found) == len(tasks)
    return {row.key: row.without_time() for row in found}


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    """The address of a cluster of two worker processes on loopback."""
    with distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        host="127.0.0.1",
        dashboard_address="127.0.0.1:0",
    ) as made:
        yield made.scheduler_address


@pytest.mark.slow
def test_two_processes_give_the_rows_of_one(
    tasks: list[Task], here: dict[str, tuple[Any, ...]]
) -> None:
    assert len(here) == len(tasks) == 4
    assert rows_of(tasks, jobs=2) == here


@pytest.mark.slow
def test_a_dask_cluster_of_two_workers_gives_the_same_rows(
    tasks: list[Task], here: dict[str, tuple[Any, ...]], cluster: str
) -> None:
    with distributed.Client(cluster, set_as_default=False) as client:
        assert len(client.scheduler_info()["workers"]) == 2
    assert rows_of(tasks, dask=cluster) == here


def test_a_cluster_that_does_not_answer_is_said(
    tasks: list[Task], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sim.sweep.ANSWER_S", 0.5)
    with pytest.raises(UsageError, match=r"--dask tcp://127\.0\.0\.1:9: no Dask scheduler"):
        rows_of(tasks, dask="tcp://127.0.0.1:9")
