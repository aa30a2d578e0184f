"""Valves, pipes, meter and supply that fail: each reaction, injected into an engine among nodes."""

from __future__ import annotations

from itertools import pairwise

import pytest

from controller.effects import Lease, Outcome, Reserve, Settle
from controller.events import MeterReading, WeatherReading
from sim.faults import Breakage, Fault, FaultScript, Kind, What
from tests.engine_bench import Bench
from tests.engine_garden import START_UTC_S, small_garden

HOUR_S = 3600.0
FLOW_L_MIN = 1.6


def metered(*beds: str, at_once: int = 1) -> Bench:
    """Beds behind a master valve and a meter."""
    plot = small_garden(beds=beds or ("south",), master=True, meter=True, at_once=at_once)
    return Bench(plot)


def running(bench: Bench, litres: float = 40.0, for_s: float = 150.0) -> Bench:
    """A watering by hand that runs since `for_s`."""
    bench.order("water", "south", litres=litres)
    bench.live(for_s)
    assert bench.open_beds() == ["south"]
    return bench


def fault(where: str, what: What, value: float = 0.0) -> FaultScript:
    """One fault that begins at once and lasts."""
    kind, _, name = where.partition(":")
    end_s = 0.0 if what is What.RESET else 1e9
    one = Fault(start_s=0.0, end_s=end_s, kind=Kind(kind), name=name, what=what, value=value)
    return FaultScript(begin_utc_s=START_UTC_S, faults=(one,))


# -- flow that should not be


@pytest.mark.hazard("M1")
@pytest.mark.parametrize(
    ("more_frac", "within_s", "found"),
    [
        pytest.param(1.0, 30.0, True, id="twice-as-much-within-half-a-minute"),
        pytest.param(0.45, 150.0, True, id="45-per-cent-more-within-two-stretches"),
        pytest.param(0.2, 900.0, False, id="20-per-cent-more-is-no-burst"),
    ],
)
def test_a_burst_is_told_by_how_much_more_flows(
    more_frac: float, within_s: float, found: bool
) -> None:
    bench = running(metered())
    bench.gush_l_min = more_frac * FLOW_L_MIN
    bench.live(within_s)
    assert ("burst" in bench.alert_codes()) is found
    assert any(node.is_open for node in bench.nodes.values()) is not found
    if found:
        leases = len(bench.of(Lease))
        bench.gush_l_min = 0.0
        bench.dry_out(0.6)
        bench.live(2 * HOUR_S, tick_s=20.0)
        assert len(bench.of(Lease)) == leases, "it opened behind a burst"


def air(bench: Bench, temp_c: float) -> None:
    """A mast tells the temperature, and the beds are judged."""
    bench.step(WeatherReading(**bench.times(), mast="mast", temp_c=temp_c))
    bench.live(HOUR_S, tick_s=60.0)


@pytest.mark.hazard("E2")
@pytest.mark.parametrize("frosted", [True, False], ids=["after-a-frost", "no-frost"])
def test_the_first_dose_after_a_frost_is_held_to_a_tighter_flow(frosted: bool) -> None:
    bench = metered()
    air(bench, -3.0 if frosted else 8.0)
    assert ("frost" in bench.alert_codes()) is frosted
    air(bench, 8.0)
    running(bench)
    bench.gush_l_min = 0.25 * FLOW_L_MIN  # a joint that the ice opened
    bench.live(150.0)
    assert ("burst" in bench.alert_codes()) is frosted


@pytest.mark.hazard("E2")
def test_a_sound_dose_after_a_frost_ends_that() -> None:
    bench = metered()
    air(bench, -3.0)
    air(bench, 8.0)
    bench.order("water", "south", litres=10.0)
    bench.live(1500.0)
    running(bench)
    bench.gush_l_min = 0.25 * FLOW_L_MIN
    bench.live(150.0)
    assert "burst" not in bench.alert_codes()


@pytest.mark.hazard("M2")
@pytest.mark.parametrize(
    ("leak_l_min", "found"),
    [pytest.param(0.2, True, id="a-leak"), pytest.param(0.05, False, id="below-the-limit")],
)
def test_flow_with_every_valve_closed_closes_the_master_and_locks(
    leak_l_min: float, found: bool
) -> None:
    bench = metered()
    bench.gush_l_min = leak_l_min
    before = len(bench.closes("master"))
    bench.live(600.0)
    assert ("leak" in bench.alert_codes()) is found
    assert (len(bench.closes("master")) > before) is found
    answer = bench.order("water", "south", litres=20.0)
    assert answer is None or (answer.reason == "valve_latched") is found
    if found:
        alert = next(iter(bench.engine.state.alerts.values()))
        assert alert.person_needed


@pytest.mark.hazard("V1", "V4")
def test_water_after_a_confirmed_close_repeats_it_and_drops_the_master() -> None:
    bench = running(metered())
    bench.order("stop", "south")
    assert bench.engine.state.valves["south"].state == "closed", "the node's own word"
    before, closed_s = len(bench.closes("south")), bench.now_s
    bench.play(fault("valve:south", What.STUCK_OPEN), 60.0)
    assert "valve_stuck_open" in bench.alert_codes()
    assert len(bench.closes("south")) - before >= 3
    assert bench.closes("master", since_s=closed_s)
    assert not bench.is_open("master")
    answer = bench.order("water", "south", litres=20.0)
    assert answer is not None
    assert answer.reason == "valve_latched"


def two_drink(bench: Bench) -> Bench:
    """Both beds drink for so long that their flow is known; south is about to be closed."""
    bench.order("water", "south", litres=60.0)
    bench.live(60.0)
    bench.order("water", "wall", litres=60.0)
    bench.live(240.0)
    assert bench.open_beds() == ["south", "wall"]
    return bench


def lasting(bench: Bench, breakage: Breakage, for_s: float = 90.0) -> Bench:
    """South is told to close, and this breaks."""
    bench.broken(breakage)
    bench.order("stop", "south")
    bench.live(for_s)
    return bench


@pytest.mark.hazard("V1")
def test_a_valve_that_sticks_while_another_drinks_is_found_by_the_fall_that_does_not_come() -> None:
    bench = two_drink(metered("south", "wall", at_once=2))
    closed_s = bench.now_s
    lasting(bench, Breakage(stuck_open={"south"}))
    assert bench.alert_codes() == {"valve_stuck_open"}, "not a burst, and no other bed's valve"
    assert {alert.bed for alert in bench.engine.state.alerts.values()} == {"south"}
    assert len(bench.closes("south", since_s=closed_s)) >= 6
    assert not any(node.is_open for node in bench.nodes.values())
    stopped_l = bench.litres["south"]
    bench.live(HOUR_S)
    assert bench.litres["south"] == stopped_l, "the master lets no more through"
    answer = bench.order("water", "south", litres=20.0)
    assert answer is not None
    assert answer.reason == "valve_latched"


@pytest.mark.hazard("V1")
def test_it_is_found_although_a_third_bed_opens_meanwhile_where_all_were_walked() -> None:
    bench = metered("south", "wall", "low", at_once=2)
    bench.order("walk", yes=True)
    bench.live(1800.0)
    two_drink(bench)
    lasting(bench, Breakage(stuck_open={"south"}), for_s=10.0)
    bench.order("water", "low", litres=60.0)
    bench.live(180.0)
    told = bench.engine.state.alerts.values()
    assert {(one.code, one.bed) for one in told if one.valve} == {("valve_stuck_open", "south")}
    assert not any(node.is_open for node in bench.nodes.values())


@pytest.mark.hazard("V1")
@pytest.mark.parametrize(
    ("supply_frac", "beside_frac", "after_frac"),
    [
        pytest.param(1.0, 0.0, 0.0, id="all-well"),
        pytest.param(0.5, 0.0, 0.5, id="a-weak-supply-of-which-wall-alone-takes-all"),
        pytest.param(1.0, 0.5, 0.5, id="wall-takes-more-than-it-should"),
    ],
)
def test_a_flow_that_falls_suspects_nobody(
    supply_frac: float, beside_frac: float, after_frac: float
) -> None:
    bench = metered("south", "wall", at_once=2)
    bench.broken(Breakage(supply_frac=supply_frac))
    bench.gush_l_min = beside_frac * FLOW_L_MIN
    two_drink(bench)
    bench.gush_l_min = after_frac * FLOW_L_MIN
    bench.order("stop", "south")
    bench.live(90.0)
    assert bench.open_beds() == ["wall"]
    assert bench.alert_codes() == set()
    assert "suspected" not in {note.code for note in bench.notes("valve")}


@pytest.mark.hazard("V1")
def test_a_suspicion_that_the_gap_does_not_prove_locks_nothing() -> None:
    bench = two_drink(metered("south", "wall", at_once=2))
    bench.gush_l_min = FLOW_L_MIN  # as if south ran on; it is a joint behind wall's valve
    bench.order("stop", "south")
    while bench.open_beds():
        bench.tick()
    answer = bench.order("water", "wall", litres=20.0)
    assert answer is not None
    assert answer.reason == "proving"
    bench.gush_l_min = 0.0
    bench.live(60.0)
    assert [note.code for note in bench.notes("valve", "south")][-1:] == ["holds"]
    assert bench.alert_codes() == set()
    bench.live(600.0)
    bench.order("water", "wall", litres=20.0)
    bench.live(60.0)
    assert bench.open_beds() == ["wall"]


@pytest.mark.hazard("V1")
@pytest.mark.parametrize("ended_by", ["silence", "restart"])
def test_a_suspicion_that_nobody_can_prove_counts_as_proved(ended_by: str) -> None:
    bench = two_drink(metered("south", "wall", at_once=2))
    bench.broken(Breakage(stuck_open={"south"}))
    bench.order("stop", "south")
    while bench.engine.state.valves["wall"].state == "open":
        bench.tick()
    if ended_by == "restart":
        bench.restart(30.0)
        bench.connect()
    bench.broken(Breakage(stuck_open={"south"}, silent={"meter:main"}))
    bench.live(200.0)
    assert "valve_stuck_open" in bench.alert_codes()
    assert {alert.bed for alert in bench.engine.state.alerts.values()} == {"south"}


# -- flow that should be and is not


@pytest.mark.hazard("M6")
def test_no_water_in_two_beds_is_the_supply_and_ends_when_it_is_back() -> None:
    bench = metered("south", "wall")
    bench.dry_out(0.45)
    bench.play(fault("supply", What.LOST), 8 * HOUR_S)
    assert "supply_lost" in bench.alert_codes()
    assert "valve_stuck_closed" not in bench.alert_codes()
    assert {memory.said.code for memory in bench.engine.state.beds.values()} <= {
        "supply_lost",
        "at_line",
        "floor_passed",
        "floor_near",
    }
    opened = [at_s for at_s, valve, edge in bench.edges if (valve, edge) == ("master", "open")]
    waits = [later - earlier for earlier, later in pairwise(opened)]
    assert min(waits) >= 1800.0
    assert len(opened) >= 4, "it was not tried again"
    for bed in ("south", "wall"):
        tries = sum(1 for _, v, edge in bench.edges if (v, edge) == (bed, "open"))
        assert tries <= 8, "no start is left for the hour with water"
    bench.broken(Breakage())
    bench.live(4 * HOUR_S)
    assert "supply_lost" not in bench.alert_codes()
    assert min(bench.litres.values()) > 20.0
    day_l = bench.engine.run.garden.limits_for("south").bed_l_day
    assert max(bench.litres.values()) <= day_l


@pytest.mark.hazard("V2")
def test_no_water_in_one_bed_is_its_valve_and_the_other_drinks() -> None:
    bench = metered("south", "wall")
    bench.dry_out(0.45)
    bench.play(fault("valve:south", What.STUCK_CLOSED), 3 * HOUR_S)
    assert "valve_stuck_closed" in bench.alert_codes()
    assert "supply_lost" not in bench.alert_codes()
    assert bench.litres["south"] == 0.0
    assert bench.litres["wall"] > 20.0


@pytest.mark.hazard("V3", "V8")
def test_behind_a_valve_that_does_not_answer_no_other_opens_until_it_must_be_shut() -> None:
    bench = Bench(small_garden(beds=("south", "wall"), master=True))
    running(bench)
    bench.deaf_to_close.add("south")
    bench.mute.add("south")
    bench.order("stop", "south")
    leased_s = bench.leases("south")[-1]
    while bench.now_s < leased_s + 135.0:
        answer = bench.order("water", "wall", litres=20.0)
        assert answer is not None
        assert (answer.status, answer.reason) == ("refused", "busy"), bench.now_s - leased_s
        bench.live(20.0)
    bench.live(60.0)
    bench.order("water", "wall", litres=20.0)
    bench.live(60.0)
    assert bench.open_beds() == ["wall"]
    assert bench.of(Settle)[0].outcome is Outcome.ASSUMED_FULL
    assert bench.of(Settle)[0].charged_l == bench.of(Reserve)[0].reserved_l


# -- a meter that lies


@pytest.mark.hazard("V1", "M2")
@pytest.mark.parametrize("stuck", [False, True], ids=["it-closed", "it-sticks"])
def test_words_that_come_bunched_after_a_close_are_of_the_time_before_it(stuck: bool) -> None:
    bench = running(metered())
    bench.broken(Breakage(silent={"meter:main"}))
    held = []
    for turn in range(10):
        if turn == 4:
            bench.order("stop", "south")
            bench.broken(Breakage(silent={"meter:main"}, stuck_open={"south"} if stuck else set()))
        bench.tick()
        held.append((bench.meter_total_l(), bench.now_s))
    bench.broken(Breakage(stuck_open={"south"} if stuck else set()))
    for total_l, up_s in held:  # all at once, after the pulse's books were closed
        one = MeterReading(
            **bench.times(), meter="main", litres_total=total_l, up_s=up_s, boot="m0"
        )
        bench.step(one)
    assert bench.alert_codes() == ({"valve_stuck_open"} if stuck else set())
    if not stuck:
        bench.live(600.0)
        assert bench.alert_codes() == set()
        assert bench.engine.state.litres == pytest.approx(bench.litres["south"], abs=0.11)


def last_meter(bench: Bench) -> MeterReading:
    """What the meter told last."""
    return [event for event in bench.events if isinstance(event, MeterReading)][-1]


def told(bench: Bench, total_l: float, boot: str = "m0") -> None:
    """The meter tells this total now."""
    bench.step(
        MeterReading(
            **bench.times(), meter="main", litres_total=total_l, up_s=bench.now_s, boot=boot
        )
    )


@pytest.mark.hazard("M3")
@pytest.mark.parametrize("jump_l", [pytest.param(-3.0, id="back"), pytest.param(500.0, id="leap")])
def test_a_total_that_cannot_be_is_no_water_and_the_dose_goes_on_by_time(jump_l: float) -> None:
    bench = running(metered(), litres=10.0)
    given_l = bench.litres["south"]
    bench.now_s += 1.0
    told(bench, last_meter(bench).litres_total + jump_l)
    assert "meter_fault" in bench.alert_codes()
    assert bench.open_beds() == ["south"], "a meter's fault is no reason to let a bed dry"
    bench.meter_counts = False
    bench.live(1800.0)
    assert bench.open_beds() == []
    ended = next(one for one in bench.of(Settle) if one.outcome is Outcome.CONFIRMED)
    assert ended.charged_l >= bench.litres["south"] > given_l, "the cap counts the larger one"


def with_a_dead_meter(*, felt: bool, rain_mm: float = 0.0, at_once: int = 1) -> Bench:
    """Two dry beds whose meter counts nothing from now on, until the trial's hours are over."""
    bench = metered("south", "wall", at_once=at_once)
    bench.order("pause", until_utc_s=bench.at_utc_s + 5 * HOUR_S, why="its probes are heard")
    bench.dry_out(0.45)
    bench.live(5 * HOUR_S, tick_s=60.0)
    bench.meter_counts = False
    dead = bench.engine.state.meter.dead
    while not dead.bed:
        bench.live(60.0)
        assert bench.now_s < 8 * HOUR_S, "no trial"
    tried = dead.bed
    bench.live(1200.0)
    while bench.open_beds():
        bench.live(60.0)
    if felt:
        bench.dry_out(0.25, tried)
    if rain_mm:
        for total_mm in (0.0, rain_mm):
            told = WeatherReading(**bench.times(), mast="mast", rain_mm_total=total_mm)
            bench.step(told)
            bench.live(600.0)
    bench.live(7 * HOUR_S, tick_s=20.0)
    return bench


def trials(bench: Bench) -> int:
    return len([note for note in bench.notes("watering") if note.code == "meter_trial"])


@pytest.mark.hazard("M3")
def test_a_meter_that_stands_still_while_the_soil_drinks_is_dead_and_doses_go_by_time() -> None:
    bench = with_a_dead_meter(felt=True)
    assert trials(bench) == 1
    assert bench.alert_codes() == {"meter_fault"}, "neither the supply nor a valve"
    assert min(bench.litres.values()) > 50.0, "both drink by time, once it is known"
    reserved = {one.dose: one.reserved_l for one in bench.of(Reserve)}
    settled = [one for one in bench.of(Settle) if one.credited_l > 0.0]
    assert len(settled) == 2
    assert all(one.charged_l >= reserved[one.dose] for one in settled)
    shown_l = last_meter(bench).litres_total
    bench.meter_counts = True
    bench.uncounted_l = sum(bench.litres.values()) - shown_l
    bench.gush_l_min = 0.05  # a tap drips behind it
    bench.live(600.0, tick_s=20.0)
    assert "meter_fault" not in bench.alert_codes()
    assert not bench.engine.state.meter.dead.found


@pytest.mark.hazard("M3")
@pytest.mark.parametrize("at_once", [1, 2], ids=["alone", "beside-another-that-comes-dry"])
def test_the_trial_of_a_meter_is_charged_whole_and_believed_nothing(at_once: int) -> None:
    bench = with_a_dead_meter(felt=False, at_once=at_once)
    reserved = {one.dose: one.reserved_l for one in bench.of(Reserve)}
    settled = {one.dose: one for one in bench.of(Settle)}
    whole = [d for d, one in settled.items() if one.charged_l >= reserved[d] > 0.0]
    assert len(whole) == 1
    assert settled[whole[0]].credited_l == 0.0
    assert settled[whole[0]].open_s > 300.0


@pytest.mark.hazard("M3", "M6")
@pytest.mark.parametrize("rain_mm", [0.0, 4.0], ids=["nothing-felt", "it-may-have-been-rain"])
def test_a_trial_that_no_probe_feels_was_the_supply_and_is_not_repeated_for_a_day(
    rain_mm: float,
) -> None:
    bench = with_a_dead_meter(felt=rain_mm > 0.0, rain_mm=rain_mm)
    assert not bench.engine.state.meter.dead.found
    assert "meter_fault" not in bench.alert_codes()
    bench.dry_out(0.45)
    bench.live(12 * HOUR_S, tick_s=20.0)
    assert "supply_lost" in bench.alert_codes()
    assert trials(bench) == 1
    bench.live(10 * HOUR_S, tick_s=20.0)
    assert trials(bench) == 2


@pytest.mark.hazard("M3")
def test_a_meter_that_says_nothing_is_no_dry_valve_and_the_dose_is_charged_whole() -> None:
    bench = metered()
    bench.broken(Breakage(silent={"meter:main"}))  # it spoke a moment ago
    bench.order("water", "south", litres=10.0)
    bench.live(100.0)
    assert bench.open_beds() == ["south"]
    bench.live(100.0)
    assert bench.alert_codes() == {"meter_fault"}
    bench.live(600.0)
    assert bench.open_beds() == []
    (settled,), (reserved,) = bench.of(Settle), bench.of(Reserve)
    assert settled.charged_l >= reserved.reserved_l > bench.litres["south"] >= 9.0
    assert settled.credited_l == pytest.approx(bench.litres["south"], rel=0.1)
    bench.broken(Breakage())
    bench.live(120.0)
    assert bench.alert_codes() == set()


@pytest.mark.hazard("M3")
def test_a_meter_that_starts_anew_is_a_new_beginning_and_no_fault() -> None:
    bench = running(metered(), litres=10.0)
    bench.play(fault("meter:main", What.RESET), 900.0)
    assert not [note for note in bench.notes("alert") if note.code == "meter_fault"]
    assert "burst" not in bench.alert_codes()
    ended = bench.of(Settle)[0]
    assert ended.charged_l >= bench.litres["south"] - 1e-6


# -- nodes and power


@pytest.mark.hazard("E5", "V11")
@pytest.mark.parametrize("whole", [True, False], ids=["master-and-meter", "neither"])
def test_all_nodes_that_start_anew_in_a_dose_end_it_and_nothing_resumes(whole: bool) -> None:
    plot = small_garden(beds=("south", "wall"), master=whole, meter=whole, at_once=2)
    bench = running(Bench(plot))
    leases = len(bench.of(Lease))
    for valve in bench.nodes:
        bench.reboot(valve)
    assert bench.open_beds() == []
    bench.live(HOUR_S)
    assert len(bench.of(Lease)) == leases, "an ordered dose resumed by itself"
    assert [one.dose for one in bench.of(Settle)] == ["1-1"]
    assert bench.of(Settle)[0].charged_l >= bench.litres["south"] - 1e-6


@pytest.mark.hazard("C5", "C4")
def test_ten_starts_in_ten_minutes_open_nothing_and_close_each_time() -> None:
    bench = metered("south", "wall")
    bench.dry_out(0.6)
    bench.live(60.0)
    bench.cut_power()
    bench.give_power()
    before = len(bench.of(Lease))
    for _ in range(10):
        closes = len(bench.closes("south"))
        bench.restart(5.0)
        bench.connect()
        bench.dry_out(0.6)
        assert len(bench.closes("south")) > closes, "a start closes first"
        bench.live(55.0)
        assert bench.open_beds() == []
    assert len(bench.of(Lease)) == before
    bench.live(600.0)
    assert len(bench.of(Lease)) > before, "a start that lasts goes on"
