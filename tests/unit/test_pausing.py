"""Pauses while one stands: who may end it sooner, its note of each day, and clocks that jump."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest
from fastapi.testclient import TestClient

from api.orders import now_utc_s
from controller.engine import Engine
from controller.events import Order, OrderKind
from controller.holds import carry_holds
from controller.pausing import ends_utc_s, keeps_dry
from controller.run import Run
from controller.state import Pause
from tests.desk_bench import EngineDesk
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, START_UTC_S, small_garden
from tests.unit.test_pairing import OWN, Place

BEDS = pytest.mark.parametrize("bed", [None, "south"], ids=["garden", "bed"])


def instant(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, UTC).isoformat().replace("+00:00", "Z")


def path_of(bed: str | None) -> str:
    return "/api/pause" if bed is None else f"/api/beds/{bed}/pause"


def stands(run: Run, bed: str | None) -> Pause | None:
    return run.state.pause if bed is None else run.state.beds[bed].pause


def both() -> tuple[Place, TestClient, TestClient]:
    place = Place(EngineDesk(small_garden()))
    return place, place.shell(), place.paired("helper", "Ann")


@pytest.mark.hazard("N1")
@BEDS
def test_a_helper_ends_no_pause_sooner(bed: str | None) -> None:
    place, operator, helper = both()
    until_s = now_utc_s(place.desk) + 30 * DAY_S
    kept = {"until": instant(until_s), "why": "sprayed"}
    assert operator.put(path_of(bed), json=kept).status_code == 200
    for sooner_s in (2.0, 3600.0, 29.9 * DAY_S):
        sooner = {"until": instant(now_utc_s(place.desk) + sooner_s)}
        got = helper.put(path_of(bed), json=sooner, headers=OWN)
        assert (got.status_code, got.json()["title"]) == (403, "Not for a helper")
        assert "Only the operator" in got.json()["detail"]
        pause = stands(place.desk.bench.engine.run, bed)
        assert pause is not None
        assert (pause.until_utc_s, pause.why) == (pytest.approx(until_s), "sprayed")


@pytest.mark.hazard("N1")
def test_nor_by_the_pages_form() -> None:
    place, operator, helper = both()
    until_s = now_utc_s(place.desk) + 30 * DAY_S
    operator.put("/api/pause", json={"until": instant(until_s)})
    page = helper.get("/pause").text
    key = page.partition('name="key" value="')[2].partition('"')[0]
    assert key
    form = {"key": key, "until": instant(now_utc_s(place.desk) + DAY_S)}
    got = helper.post("/do/pause", data=form, headers=OWN)
    assert (got.status_code, "Only the operator" in got.text) == (403, True)
    pause = stands(place.desk.bench.engine.run, None)
    assert pause is not None
    assert pause.until_utc_s == pytest.approx(until_s)


@BEDS
def test_a_helper_may_lengthen_it_and_its_reason_stays(bed: str | None) -> None:
    place, operator, helper = both()
    now_s = now_utc_s(place.desk)
    first = {"until": instant(now_s + DAY_S), "why": "sprayed"}
    longer = {"until": instant(now_s + 2 * DAY_S), "why": "no reason"}
    assert operator.put(path_of(bed), json=first).status_code == 200
    assert helper.put(path_of(bed), json=longer, headers=OWN).status_code == 200
    pause = stands(place.desk.bench.engine.run, bed)
    assert pause is not None
    assert (pause.until_utc_s, pause.why) == (pytest.approx(now_s + 2 * DAY_S), "sprayed")


def test_an_operator_may_end_it_sooner_and_a_helper_begins_one() -> None:
    place, operator, helper = both()
    now_s = now_utc_s(place.desk)
    begun = {"until": instant(now_s + 9 * DAY_S), "why": "hot"}
    assert helper.put("/api/pause", json=begun, headers=OWN).status_code == 200
    sooner = {"until": instant(now_s + DAY_S), "why": "rain"}
    assert operator.put("/api/pause", json=sooner).status_code == 200
    pause = stands(place.desk.bench.engine.run, None)
    assert pause is not None
    assert (pause.until_utc_s, pause.why) == (pytest.approx(now_s + DAY_S), "rain")


@pytest.mark.hazard("H2")
@BEDS
def test_a_pause_ordered_anew_each_day_is_called_out_all_the_same(bed: str | None) -> None:
    bench = Bench(small_garden())
    for _ in range(4):
        bench.order("pause", bed, until_utc_s=bench.at_utc_s + 60 * DAY_S)
        bench.live(23 * 3600.0, tick_s=600.0)
    called = [note for note in bench.notes("alert") if note.code == "paused"]
    assert len(called) == 1 + 3, "as it began, and each full day since"


@pytest.mark.parametrize("only_longer", [True, False])
def test_after_an_update_the_journal_counts_by_the_same_rule(only_longer: bool) -> None:
    def ordered(day: float, **more: bool) -> Order:
        until_s = START_UTC_S + day * DAY_S
        return Order(
            at_utc_s=START_UTC_S, mono_s=1.0, order="o", what=OrderKind.PAUSE, who="x",
            until_utc_s=until_s, **more,
        )  # fmt: skip

    run = Engine(small_garden()).run
    carry_holds(run, None, [ordered(30.0), ordered(0.1, only_longer=only_longer)])
    pause = stands(run, None)
    assert pause is not None
    assert pause.until_utc_s == START_UTC_S + (30.0 if only_longer else 0.1) * DAY_S


# -- clocks


def paused(days: float, bed: str | None = None) -> Bench:
    bench = Bench(small_garden())
    bench.order("pause", bed, until_utc_s=bench.at_utc_s + days * DAY_S, why="away")
    bench.dry_out(0.9, "south")
    return bench


@pytest.mark.hazard("T1")
@BEDS
@pytest.mark.parametrize("ahead_d", [30.0, 400.0])
def test_a_clock_that_runs_ahead_for_a_while_ends_no_pause(bed: str | None, ahead_d: float) -> None:
    bench = paused(20.0, bed)
    bench.live(DAY_S, tick_s=300.0)
    bench.wall_ahead_s += ahead_d * DAY_S
    bench.live(1200.0, tick_s=60.0)
    assert bench.engine.state.beds["south"].said.code == "paused"
    until_s = ends_utc_s(bench.engine.run, kept(bench, bed))
    assert until_s == pytest.approx(bench.at_utc_s + 19 * DAY_S - 1200.0, abs=120.0)
    bench.wall_ahead_s -= ahead_d * DAY_S
    bench.live(DAY_S, tick_s=300.0)
    assert bench.litres["south"] == 0.0
    assert {"paused", "bed_waiting"} <= bench.alert_codes(), "never dry in silence"
    until_s = ends_utc_s(bench.engine.run, kept(bench, bed))
    assert until_s == kept(bench, bed).until_utc_s


def kept(bench: Bench, bed: str | None) -> Pause:
    pause = stands(bench.engine.run, bed)
    assert pause is not None
    return pause


@pytest.mark.hazard("T1")
def test_a_clock_that_is_ahead_for_good_keeps_the_pause_as_long_as_it_was_meant() -> None:
    bench = paused(3.0)
    bench.live(3600.0, tick_s=300.0)
    bench.wall_ahead_s += 30 * DAY_S
    bench.live(2.0 * DAY_S, tick_s=600.0)
    assert bench.litres["south"] == 0.0
    assert "another 24 h" in [n.text for n in bench.notes("alert") if n.code == "paused"][-1]
    bench.live(1.1 * DAY_S, tick_s=600.0)
    assert bench.engine.state.pause is None
    assert "paused" not in bench.alert_codes()


def test_a_pause_whose_trusted_time_lags_ends_once_that_has_come() -> None:
    """Reboots without a set clock count no time: it lasts longer, and ends all the same."""
    bench = paused(2.0)
    bench.live(DAY_S, tick_s=600.0)
    kept(bench, None).until_trusted_s = bench.engine.run.trusted_s + 3 * DAY_S
    bench.live(2.9 * DAY_S, tick_s=600.0)
    assert bench.engine.state.pause is not None
    bench.live(0.2 * DAY_S, tick_s=600.0)
    assert bench.engine.state.pause is None


def test_a_pause_of_an_older_record_gets_its_end_in_trusted_time() -> None:
    bench = paused(5.0)
    dumped = json.loads(bench.engine.dump())
    del dumped["pause"]["until_trusted_s"]
    bench.engine = Engine.load(json.dumps(dumped).encode())
    assert kept(bench, None).until_trusted_s is None
    bench.live(2 * 3600.0, tick_s=300.0)
    left_s = (kept(bench, None).until_trusted_s or 0.0) - bench.engine.run.trusted_s
    assert left_s == pytest.approx(5 * DAY_S - 2 * 3600.0, abs=1.0)
    bench.wall_ahead_s += 30 * DAY_S
    bench.live(1200.0, tick_s=60.0)
    assert bench.engine.state.pause is not None


def test_a_clock_that_nobody_set_gives_an_older_pause_no_end_in_trusted_time() -> None:
    """It may be years behind: the pause would outlast the season."""
    bench = Bench(small_garden(), clock_synced=False)
    bench.engine.state.pause = Pause(until_utc_s=bench.at_utc_s + 300 * DAY_S, why="away")
    bench.live(2 * 3600.0, tick_s=300.0)
    assert kept(bench, None).until_trusted_s is None
    bench.wall_ahead_s += 301 * DAY_S
    bench.live(7200.0, tick_s=300.0)
    assert bench.engine.state.pause is None


def test_a_beds_short_pause_does_not_hide_the_gardens() -> None:
    bench = paused(9.0)
    run = bench.engine.run
    run.state.beds["south"].pause = Pause(until_utc_s=bench.at_utc_s - 1.0, why="")
    assert keeps_dry(run, "south")


@BEDS
def test_a_helpers_pause_shortens_trusted_time_neither(bed: str | None) -> None:
    bench = paused(20.0, bed)
    end_s = kept(bench, bed).until_trusted_s
    bench.wall_ahead_s += 30 * DAY_S  # now a pause of an hour ends later by the wall clock
    until_s = bench.at_utc_s + 3600.0
    bench.order("pause", bed, until_utc_s=until_s, only_longer=True)
    assert (kept(bench, bed).until_utc_s, kept(bench, bed).until_trusted_s) == (until_s, end_s)
