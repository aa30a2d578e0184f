"""How many seasons go by on a Dask cluster of this machine, and what each worker holds for it.

    python -m tests.end_to_end.sweep_bench [--seasons N] [--days N] [--workers N] [--json]

So many drawn worlds of the example garden in the dry invented season are lived twice: in this
process, one after the other, and on so many workers of one thread each. `linear` is how near that
comes to sharing the work out evenly at no cost: CPU of the first over workers times CPU of the
busiest of them, starting and messages included. CPU and not real time is compared, so that others
on the machine do not count. `most_mb` is the largest that a worker ever was (`VmHWM`); `first_mb`
after the first season that it lived: what lies between the two would grow with more seasons.
Without `--days` a season is whole, 1 May to 30 September or as the garden file has it.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from distributed import Client, LocalCluster

from controller.garden_file import read_document
from sim.examples import find_garden
from sim.sweep import Sweep, run_all, runner, weather_of
from sim.sweep_rows import Row, Task
from sim.sweep_vary import settings_of

FIRST = date(2025, 7, 1)


def tasks_of(seasons: int, days: int | None) -> list[Task]:
    """So many drawn worlds in one season."""
    return Sweep(
        settings=tuple(settings_of(read_document(find_garden("hollin-lane")).data, [])),
        seasons=("invented-dry",),
        seeds=tuple(range(1, seasons + 1)),
        policies=("thirstline",),
        first=None if days is None else FIRST,
        last=None if days is None else FIRST + timedelta(days=days - 1),
    ).tasks(weather_of)


def cost_of_worker() -> dict[str, float]:
    """What a worker has run [s], and the largest that it was [MB]; called within it."""
    told = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    most_kb = next(int(line.split()[1]) for line in told if line.startswith("VmHWM"))
    return {"cpu_s": time.process_time(), "most_mb": most_kb / 1e3}


def _rows(tasks: list[Task], dask: str | None) -> list[tuple[Any, ...]]:
    rows: list[Row] = []
    assert run_all(tasks, runner(1, dask), {}, rows.append)
    return sorted(row.without_time() for row in rows)


def measured(seasons: int, days: int | None, workers: int) -> dict[str, Any]:
    """Live them both ways.

    Returns:
        What `--json` prints.
    """
    tasks = tasks_of(seasons, days)
    began_s = time.process_time()
    one = _rows(tasks, None)
    one_s = time.process_time() - began_s
    with (
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address="127.0.0.1:0",
        ) as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        address = cluster.scheduler_address
        _rows(tasks[:workers], address)  # each has imported everything
        first = client.run(cost_of_worker)
        many = _rows(tasks, address)
        last = client.run(cost_of_worker)
    busiest_s = max(last[name]["cpu_s"] - first[name]["cpu_s"] for name in last)
    return {
        "seasons": seasons,
        "days": days,
        "workers": workers,
        "same_rows": one == many,
        "one_process_cpu_s": round(one_s, 2),
        "busiest_worker_cpu_s": round(busiest_s, 2),
        "linear": round(one_s / (workers * busiest_s), 3),
        "first_mb": round(max(one["most_mb"] for one in first.values()), 1),
        "most_mb": round(max(one["most_mb"] for one in last.values()), 1),
    }


def main() -> None:
    """Run the command."""
    asked = argparse.ArgumentParser(description="Seasons on a Dask cluster of this machine.")
    asked.add_argument("--seasons", type=int, default=60, help="drawn worlds")
    asked.add_argument("--days", type=int, default=None, help="from 1 July; whole where not told")
    asked.add_argument("--workers", type=int, default=2)
    asked.add_argument("--json", action="store_true", help="print an object")
    told = asked.parse_args()
    found = measured(told.seasons, told.days, told.workers)
    shown = json.dumps(found) if told.json else "\n".join(f"{k}: {v}" for k, v in found.items())
    sys.stdout.write(shown + "\n")


if __name__ == "__main__":
    main()
