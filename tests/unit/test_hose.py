"""Other hands on the water: an announced hose, flow that is asked about, what beds are credited."""

from typing import Any

import pytest

from controller.effects import Lease, Settle
from controller.engine import Engine
from controller.garden import Garden
from controller.view import picture
from controller.watering.hose import HOSE_MOST_S
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden

BED_L_MIN = 1.6
LATCHES = {"leak", "burst", "valve_stuck_open"}


def living(*, shared: bool = False, **kinds: Any) -> Bench:
    garden = small_garden(meter=True, **kinds)
    supply = garden.supply.model_copy(update={"shared": shared})
    return settled(garden.model_copy(update={"supply": supply}))


def settled(garden: Garden) -> Bench:
    bench = Bench(garden)
    bench.dry_out(0.1)
    bench.live(60.0)
    return bench


def announce(bench: Bench, minutes: float = 30.0) -> None:
    answer = bench.order("hose", open_s=60.0 * minutes)
    assert answer is not None
    assert answer.status == "accepted"


# -- announced


@pytest.mark.parametrize("master", [False, True])
def test_an_announced_hose_is_no_leak_and_latches_nothing(master: bool) -> None:
    bench = living(master=master)
    announce(bench)
    bench.gush_l_min = 10.0
    bench.live(1750.0)
    assert not bench.alert_codes()
    bench.gush_l_min = 0.0
    bench.live(300.0)
    assert not bench.alert_codes()
    assert picture(bench.engine.run)["holds"]["hose"] is None, "it ended by itself"


def test_the_same_flow_that_nobody_announced_is_a_leak() -> None:
    bench = living()
    bench.gush_l_min = 10.0
    bench.live(120.0)
    assert "leak" in bench.alert_codes()


def test_a_new_leak_after_a_hose_that_was_shut_is_a_leak() -> None:
    bench = living()
    announce(bench, 5.0)
    bench.gush_l_min = 10.0
    bench.live(200.0)
    bench.gush_l_min = 0.0
    bench.live(200.0)
    bench.gush_l_min = 0.5
    bench.live(150.0)
    assert "leak" in bench.alert_codes()


def test_water_that_runs_past_an_announcement_is_asked_about_then_a_leak() -> None:
    bench = living()
    announce(bench, 5.0)
    bench.gush_l_min = 10.0
    bench.live(300.0 + 120.0)
    assert bench.alert_codes() == {"flow_asked"}
    bench.live(960.0)
    assert bench.alert_codes() == {"leak"}


def test_an_announced_hose_is_no_burst_while_a_bed_drinks() -> None:
    bench = living()
    bench.order("water", "south", litres=40.0)
    bench.live(120.0)
    announce(bench)
    bench.gush_l_min = 10.0
    bench.live(600.0)
    assert not bench.alert_codes() & LATCHES
    assert bench.open_beds() == ["south"], "it drinks on"


def test_an_announcement_survives_a_restart() -> None:
    bench = living()
    announce(bench, 60.0)
    engine = Engine.load(bench.engine.dump())
    assert engine.state.taps == bench.engine.state.taps
    bench.restart(60.0)
    bench.connect()
    bench.gush_l_min = 10.0
    bench.live(900.0)
    assert not bench.alert_codes() & LATCHES
    bench.live(4000.0)
    assert bench.alert_codes() & {"flow_asked", "leak"}, "and it ended after the hour all the same"
    assert picture(bench.engine.run)["holds"]["hose"] is None


@pytest.mark.parametrize("ahead_s", [3600.0, -3600.0])
def test_a_clock_that_jumps_never_makes_it_longer(ahead_s: float) -> None:
    bench = living()
    announce(bench, 10.0)
    bench.wall_ahead_s += ahead_s
    bench.gush_l_min = 10.0
    bench.live(600.0 + 120.0)
    assert picture(bench.engine.run)["holds"]["hose"] is None
    assert bench.alert_codes() & {"flow_asked", "leak"}


@pytest.mark.parametrize("seconds", [None, 0.0, -1.0, HOSE_MOST_S + 1.0, float("nan")])
def test_an_announcement_has_a_length(seconds: float | None) -> None:
    answer = living().order("hose", open_s=seconds)
    assert answer is not None
    assert answer.status == "invalid"


def test_a_hose_that_is_off_is_watched_again() -> None:
    bench = living()
    announce(bench, 600.0)
    answer = bench.order("hose_end")
    assert answer is not None
    assert answer.status == "accepted"
    bench.live(90.0)
    bench.gush_l_min = 1.0
    bench.live(150.0)
    assert "leak" in bench.alert_codes()
    again = bench.order("hose_end")
    assert again is not None
    assert again.status == "refused"


def test_who_announced_stands_in_the_record_and_on_the_page() -> None:
    bench = living()
    announce(bench)
    assert any("tester" in note.text and note.durable for note in bench.notes("order"))
    told = picture(bench.engine.run)["holds"]["hose"]
    assert told["who"] == "tester"


# -- the meter beside a hose


def test_water_of_the_hose_is_not_credited_to_a_bed() -> None:
    bench = living()
    announce(bench, 120.0)
    bench.gush_l_min = 8.0
    bench.live(60.0)
    bench.order("water", "south", litres=20.0)
    bench.live(1500.0)
    settle = bench.of(Settle)[-1]
    true_l = bench.litres["south"]
    assert true_l == pytest.approx(20.0, rel=0.1), "it got what was wanted"
    assert settle.credited_l == pytest.approx(true_l, rel=0.1)
    assert true_l <= settle.charged_l <= 1.3 * true_l, "an upper bound, and no hose in it"


def test_two_beds_beside_a_hose_are_each_credited_their_own() -> None:
    bench = living(beds=("south", "north"), at_once=2)
    announce(bench, 120.0)
    bench.gush_l_min = 8.0
    bench.order("water", "south", litres=15.0)
    bench.live(60.0)
    bench.order("water", "north", litres=15.0)
    bench.live(1800.0)
    for settle in bench.of(Settle):
        assert settle.credited_l == pytest.approx(15.0, rel=0.12)
    for bed in ("south", "north"):
        charged_l = sum(e.charged_l for e in bench.engine.state.ledger if e.bed == bed)
        assert bench.litres[bed] <= charged_l


def test_a_burst_is_found_again_once_the_hose_is_off() -> None:
    bench = living()
    announce(bench, 2.0)
    bench.order("water", "south", litres=60.0)
    bench.live(240.0)
    bench.gush_l_min = 8.0
    bench.live(120.0)
    assert "burst" in bench.alert_codes()


# -- shared water


def test_shared_water_asks_first_and_waters_on() -> None:
    bench = living(shared=True)
    bench.gush_l_min = 6.0
    bench.live(120.0)
    assert bench.alert_codes() == {"flow_asked"}
    bench.order("water", "south", litres=20.0)
    bench.live(300.0)
    assert bench.open_beds() == ["south"]
    assert not bench.alert_codes() & LATCHES


def test_that_was_me_ends_the_question_for_half_an_hour() -> None:
    bench = living(shared=True)
    bench.gush_l_min = 6.0
    bench.live(120.0)
    answer = bench.order("flow_answer", yes=True)
    assert answer is not None
    assert answer.status == "accepted"
    assert not bench.alert_codes()
    bench.live(1700.0)
    assert not bench.alert_codes()
    bench.live(300.0)
    assert bench.alert_codes() == {"flow_asked"}


def test_nobody_makes_it_a_leak_that_a_person_lifts() -> None:
    bench = living(shared=True)
    bench.order("water", "south", litres=60.0)
    bench.live(5.0)
    bench.order("stop", "south")
    bench.live(700.0)
    bench.gush_l_min = 6.0
    bench.live(120.0)
    answer = bench.order("flow_answer", yes=False)
    assert answer is not None
    assert answer.status == "accepted"
    assert bench.alert_codes() == {"leak"}
    leases = len(bench.of(Lease))
    refused = bench.order("water", "south", litres=20.0)
    assert refused is not None
    assert refused.reason == "valve_latched"
    bench.live(300.0)
    assert len(bench.of(Lease)) == leases


def test_a_question_ends_when_the_water_does() -> None:
    bench = living(shared=True)
    bench.gush_l_min = 6.0
    bench.live(120.0)
    bench.gush_l_min = 0.0
    bench.live(120.0)
    assert not bench.alert_codes()
    answer = bench.order("flow_answer", yes=False)
    assert answer is not None
    assert answer.reason == "nothing_asked"


def test_flow_right_behind_a_bed_is_no_question_but_a_fault() -> None:
    bench = living(shared=True)
    bench.order("water", "south", litres=60.0)
    bench.live(200.0)
    bench.gush_l_min = 1.5  # what its stuck valve would let through
    bench.order("stop", "south")
    bench.live(150.0)
    assert bench.alert_codes() & LATCHES
    assert "flow_asked" not in bench.alert_codes()


def test_far_more_than_an_open_bed_takes_is_a_burst_on_shared_water_too() -> None:
    bench = living(shared=True)
    bench.order("water", "south", litres=60.0)
    bench.live(120.0)
    bench.gush_l_min = 6.0
    bench.live(120.0)
    assert "burst" in bench.alert_codes()


# -- walks and proofs


def test_a_walk_and_a_hose_do_not_meet() -> None:
    bench = living(master=True)
    announce(bench)
    refused = bench.order("walk", yes=True)
    assert refused is not None
    assert refused.reason == "hose"
    bench.order("hose_end")
    assert bench.order("walk", yes=True).status == "accepted"  # type: ignore[union-attr]
    refused = bench.order("hose", open_s=600.0)
    assert refused is not None
    assert refused.reason == "walking"


def test_the_weekly_proof_waits_while_other_water_may_run() -> None:
    garden = small_garden(beds=("south", "north"), master=True, meter=True)
    bench = Bench(garden, proofs=True)
    bench.dry_out(0.1)
    bench.live(60.0)
    proving = bench.engine.state.proving
    proving.since_trusted_s = (proving.since_trusted_s or 0.0) - 8 * DAY_S
    announce(bench, 120.0)
    bench.gush_l_min = 5.0
    bench.live(5400.0)
    assert proving.proved == 0
    assert proving.active is None
    assert not bench.alert_codes()
    bench.gush_l_min = 0.0
    bench.live(5400.0)
    assert proving.proved == 1


def test_a_proof_under_way_gives_way_to_a_hose() -> None:
    garden = small_garden(beds=("south", "north"), master=True, meter=True)
    bench = Bench(garden, proofs=True)
    bench.dry_out(0.1)
    bench.live(60.0)
    proving = bench.engine.state.proving
    proving.since_trusted_s = (proving.since_trusted_s or 0.0) - 8 * DAY_S
    while proving.active is None:
        bench.tick()
        assert bench.now_s < 9000.0
    bench.live(10.0)
    announce(bench)
    bench.gush_l_min = 5.0
    bench.live(1200.0)
    assert proving.active is None
    assert not bench.alert_codes() & {*LATCHES, "master_failed"}
