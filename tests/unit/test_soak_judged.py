"""What a soak is judged by: slopes, and every way in which a run can be wrong."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from controller.garden import load_garden
from sim.fault_file import bench_faults
from tests.soak.judge import faults_of
from tests.soak.plot import BEDS, PROBES, TROUBLES, fault_script, write_plot
from tests.soak.samples import DAY_S, slope, warm

SOUND: dict[str, Any] = {
    "memory": {"warm": 120_000, "last": 120_400},
    "blocks": {"warm": 550_000, "last": 551_000},
    "counts": {"threads": {"early": 11.0, "late": 11.0}, "fds": {"early": 13.0, "late": 13.0}},
    "files": {"together": 80e6},
    "standing": ["valve_silent"],
    "alarms": {
        "link_lost": {"raised": 3, "ended": 3, "lifted": 0},
        "leak": {"raised": 2, "ended": 0, "lifted": 2},
        "valve_silent": {"raised": 2, "ended": 1, "lifted": 0},
    },
    "books": {
        "outcomes": {"CONFIRMED": 8, "ASSUMED_FULL": 1},
        "true_l": 90.0,
        "beds": {
            "bed-01": {"charged_l": 100.0, "true_l": 90.0, "open_s": 70.0, "true_open_s": 60.0}
        },
    },
    "verify": {"events": 10, "differs_at": None, "what": ""},
}


def test_a_sound_run_has_nothing_against_it() -> None:
    assert faults_of(SOUND) == []


@pytest.mark.parametrize(
    ("place", "value", "says"),
    [
        (("memory", "last"), 127_000, "memory rose"),
        (("blocks", "last"), 600_000, "blocks rose"),
        (("counts", "threads", "late"), 13.0, "threads"),
        (("counts", "fds", "late"), 15.0, "fds"),
        (("files", "together"), 201e6, "bytes in the data folder"),
        (("standing",), ["leak"], "leak stands"),
        (("alarms", "link_lost", "ended"), 0, "link_lost was raised 3 times"),
        (("books", "outcomes"), {"None": 1}, "outcomes"),
        (("books", "true_l"), 0.0, "nothing was soaked"),
        (("books", "beds", "bed-01", "charged_l"), 89.9, "in the books"),
        (("books", "beds", "bed-01", "open_s"), 59.0, "in the books"),
        (("verify", "differs_at"), 7, "differs"),
    ],
)
def test_each_way_to_be_wrong_is_told(place: tuple[str, ...], value: Any, says: str) -> None:
    found = copy.deepcopy(SOUND)
    part = found
    for key in place[:-1]:
        part = part[key]
    part[place[-1]] = value
    assert any(says in told for told in faults_of(found)), faults_of(found)


def test_a_slope_is_told_per_day() -> None:
    line = slope([0.0, DAY_S / 2, DAY_S], [100.0, 105.0, 110.0])
    assert (line.per_day, line.first, line.last) == pytest.approx((10.0, 100.0, 110.0))
    told = [{"garden_s": float(n)} for n in range(9)]
    assert next(line["garden_s"] for line in warm(told, "garden_s", 0.25)) == 2.0


def test_the_plot_and_its_troubles_are_in_order(tmp_path: Any) -> None:
    garden = load_garden(write_plot(tmp_path, "mqtt://127.0.0.1:1883"))
    assert (len(garden.beds), len(garden.probes)) == (len(BEDS), len(PROBES)) == (16, 64)
    assert {probe.every_s for probe in garden.probes.values()} == {60}
    file = tmp_path / "faults.toml"
    file.write_text(fault_script(20_000.0, 600.0, 300.0), encoding="utf-8")
    faults = bench_faults(file, garden, 0.0).faults
    assert len(faults) >= len(TROUBLES)
    assert max(one.end_s for one in faults) <= 20_000.0
