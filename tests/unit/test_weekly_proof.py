"""The weekly proof of the master valve on the engine bench, and the latches that it sets."""

from __future__ import annotations

from typing import Any

import pytest

from controller.events import GardenChanged
from controller.garden import Garden
from controller.proving.memory import Proving
from controller.view import picture
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden

NIGHT = "22:00-sunrise"  # the bench begins at 23:00


class Piped(Bench):
    """A bench whose master valve can let water through although it is closed."""

    master_leaks = False

    def _flows_until_s(self, valve: str, to_s: float) -> float:
        if valve == self.master and self.master_leaks:
            return to_s
        return super()._flows_until_s(valve, to_s)


def kept(**garden: Any) -> Piped:
    """A trial that proves its master valve, its beds wet, just started."""
    shape: dict[str, Any] = {"beds": ("south", "north"), "master": True, "meter": True, **garden}
    bench = Piped(small_garden(**shape), proofs=True)
    bench.dry_out(0.1)
    return bench


def proving(bench: Bench) -> Proving:
    return bench.engine.state.proving


def weeks_pass(bench: Bench, days: float = 7.0) -> None:
    """As though the last proof, or the first start, lay so many days more back."""
    state = proving(bench)
    state.since_trusted_s = (state.since_trusted_s or 0.0) - days * DAY_S
    if state.sound_trusted_s is not None:
        state.sound_trusted_s -= days * DAY_S
    if state.tried_trusted_s is not None:
        state.tried_trusted_s -= days * DAY_S


def proved(bench: Bench, seconds: float = 2400.0) -> str:
    """Live on until a proof has ended; what it came to."""
    begun, end_s = proving(bench).proved, bench.now_s + seconds
    while bench.now_s < end_s and proving(bench).proved == begun:
        bench.tick()
    last = proving(bench).last
    return "" if last is None or proving(bench).proved == begun else last.code


@pytest.mark.hazard("V12")
def test_the_master_is_proved_a_week_after_the_first_start_and_each_week_after_it() -> None:
    bench = kept()
    assert proved(bench, 1500.0) == ""
    weeks_pass(bench)
    began_s = bench.now_s
    assert proved(bench) == "ok"
    edges = [(valve, what) for at_s, valve, what in bench.edges if at_s >= began_s]
    assert edges[:3] == [("south", "open"), ("south", "close"), ("master", "open")]
    opened_s, closed_s = (at_s for at_s, valve, _ in bench.edges if valve == "south")
    assert 20.0 <= closed_s - opened_s <= 30.0
    assert bench.litres == {"south": 0.0, "north": 0.0}
    assert bench.alert_codes() == set()
    assert proved(bench, 1500.0) == ""
    weeks_pass(bench)
    assert proved(bench) == "ok"
    assert [valve for _, valve, what in bench.edges if what == "open"][2] == "north"  # its turn
    shown = picture(bench.engine.run)["walk"]["proof"]
    assert (shown["provable"], shown["last"]["code"]) == (True, "ok")


@pytest.mark.hazard("V12")
def test_a_master_that_does_not_close_latches_the_garden_until_a_person_lifts_it() -> None:
    bench = kept()
    weeks_pass(bench)
    bench.master_leaks = True
    assert proved(bench) == "master_failed"
    assert "master_failed" in bench.alert_codes()
    bench.live(700.0)
    assert bench.order("water", "south", litres=20.0).reason == "valve_latched"  # type: ignore[union-attr]
    bench.restart(600.0)
    bench.connect()
    bench.live(800.0)
    assert bench.order("water", "south", litres=20.0).reason == "valve_latched"  # type: ignore[union-attr]
    bench.step(GardenChanged(**bench.times(), garden_json=bench.garden.model_dump_json()))
    assert bench.order("water", "south", litres=20.0).reason == "valve_latched"  # type: ignore[union-attr]
    assert bench.order("clear", alert="master_failed-master").status == "invalid"  # type: ignore[union-attr]
    cleared = bench.order("clear", alert="master_failed-master", why="new diaphragm")
    assert cleared is not None
    assert cleared.status == "accepted"
    assert bench.order("water", "south", litres=20.0).reason == "watering"  # type: ignore[union-attr]


@pytest.mark.hazard("V12")
def test_a_leak_behind_the_open_master_is_a_leak() -> None:
    bench = kept()
    weeks_pass(bench)
    began = bench.now_s
    while bench.now_s < began + 2400.0 and proving(bench).proved == 0:
        bench.tick()
        bench.gush_l_min = 0.15 if bench.is_open("master") else 0.0
    last = proving(bench).last
    assert last is not None
    assert last.code == "leak"
    assert "leak" in bench.alert_codes()


def test_a_few_drops_are_no_leak() -> None:
    bench = kept()
    weeks_pass(bench)
    while proving(bench).proved == 0:
        bench.tick()
        bench.gush_l_min = 0.03 if bench.is_open("master") else 0.0
    assert proving(bench).last.code == "ok"  # type: ignore[union-attr]


def test_a_bed_that_drinks_comes_first_and_the_proof_after_it() -> None:
    bench = kept()
    bench.live(700.0)
    weeks_pass(bench)
    assert bench.order("water", "south", litres=20.0).reason == "watering"  # type: ignore[union-attr]
    bench.live(600.0)
    assert proving(bench).proved == 0
    assert proving(bench).active is None
    assert proved(bench, 3600.0) == "ok"


def test_it_waits_for_the_hours() -> None:
    bench = kept(hours=NIGHT)
    bench.live(8.0 * 3600.0, tick_s=60.0)  # 07:00
    weeks_pass(bench)
    bench.live(14.0 * 3600.0, tick_s=60.0)
    assert proving(bench).proved == 0
    bench.live(2.0 * 3600.0, tick_s=20.0)
    assert proving(bench).last is not None


def test_a_meter_that_says_nothing_proves_nothing_and_the_next_night_tries_again() -> None:
    bench = kept()
    weeks_pass(bench)
    while proving(bench).active is None:
        bench.tick()
    silent = {"silent": frozenset({"meter:main"})}
    bench.breakage = bench.breakage.__class__(**silent)  # type: ignore[arg-type]
    assert proved(bench) == "put_off"
    bench.breakage = bench.breakage.__class__()
    assert proved(bench, 3600.0) == ""
    weeks_pass(bench, 0.6)
    assert proved(bench) == "ok"


def test_fifteen_days_without_a_sound_proof_are_called_out_until_there_is_one() -> None:
    bench = kept()
    bench.order("pause", until_utc_s=bench.at_utc_s + 30 * DAY_S)
    weeks_pass(bench, 14.9)
    bench.live(1300.0)
    assert "proof_overdue" not in bench.alert_codes()
    weeks_pass(bench, 0.2)
    bench.live(700.0)
    assert "proof_overdue" in bench.alert_codes()
    bench.order("resume")
    assert proved(bench) == "ok"
    assert "proof_overdue" not in bench.alert_codes()


@pytest.mark.parametrize("lacks", ["master", "meter"])
def test_without_a_master_or_a_meter_there_is_nothing_to_prove(lacks: str) -> None:
    bench = kept(**{lacks: False})
    weeks_pass(bench, 20.0)
    assert proved(bench) == ""
    assert "proof_overdue" not in bench.alert_codes()
    assert picture(bench.engine.run)["walk"]["proof"]["provable"] is False


def test_a_replay_proves_nothing() -> None:
    bench = Piped(small_garden(master=True, meter=True))
    weeks_pass(bench, 20.0)
    assert proved(bench) == ""


# -- latches, whatever set them


@pytest.mark.parametrize("code", ["burst", "leak", "valve_stuck_open", "master_failed"])
def test_a_latch_outlives_restart_and_reload_and_ends_with_a_reason(code: str) -> None:
    bench = kept()
    bench.live(700.0)
    bench.engine.run.raise_alert(code, "found by a test", person=True)
    for again in (lambda: bench.restart(600.0), lambda: None):
        again()
        if not bench.link_up:
            bench.connect()
            bench.live(800.0)
        bench.step(GardenChanged(**bench.times(), garden_json=bench.garden.model_dump_json()))
        assert bench.order("water", "south", litres=20.0).reason == "valve_latched"  # type: ignore[union-attr]
    assert bench.order("clear", alert=code, why=" ").status == "invalid"  # type: ignore[union-attr]
    assert bench.order("clear", alert=code, why="seen").status == "accepted"  # type: ignore[union-attr]
    assert bench.order("water", "south", litres=20.0).reason == "watering"  # type: ignore[union-attr]


def test_no_proof_is_told_from_water_that_is_gone_or_somebody_elses() -> None:
    bench = kept()
    weeks_pass(bench)
    bench.engine.state.dry_beds.append("south")
    assert proved(bench, 1300.0) == ""
    bench.engine.state.dry_beds.clear()
    assert proved(bench, 1300.0) == "ok"
    shared = bench.garden.model_dump(mode="json")
    shared["supply"]["shared"] = True
    changed = Garden.model_validate(shared).model_dump_json()
    bench.step(GardenChanged(**bench.times(), garden_json=changed))
    weeks_pass(bench)
    bench.master_leaks = True
    assert proved(bench, 1300.0) == "put_off"
    assert "master_failed" not in bench.alert_codes()
