"""The commissioning walk on the engine bench: what arms a valve, and what does not."""

from __future__ import annotations

from typing import Any

import pytest

from controller.effects import Answer, Reserve
from controller.engine import Engine
from controller.events import GardenChanged, LedgerEntry
from controller.garden import Garden
from controller.holds import carry_holds
from controller.proving.memory import Proving
from controller.told_state import Hose
from controller.view import picture
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

BEDS = ("south", "north")
FLOW_L_MIN = 1.6


class Metered(Bench):
    """A bench whose meter can count by another factor."""

    factor = 1.0

    def meter_total_l(self) -> float:
        return self.factor * super().meter_total_l()


def unarmed(**garden: Any) -> Metered:
    shape: dict[str, Any] = {"beds": BEDS, "master": True, "meter": True, **garden}
    return Metered(small_garden(**shape), armed=False)


def proving(bench: Bench) -> Proving:
    return bench.engine.state.proving


def until_over(bench: Bench, *, asked: bool = False, seconds: float = 3000.0) -> None:
    """Live on until the walk is over, or asks."""
    end_s = bench.now_s + seconds
    while bench.now_s < end_s:
        active = proving(bench).active
        if active is None or (asked and active.phase == "asking"):
            return
        bench.tick()
    pytest.fail(f"the walk does not end: {proving(bench).active}")


def walk(bench: Bench, **more: Any) -> Answer:
    answer = bench.order("walk", **{"yes": True, **more})
    assert answer is not None
    return answer


def walked(bench: Bench, **more: Any) -> dict[str, Any]:
    """Walk to the end; the picture of it."""
    assert walk(bench, **more).status == "accepted"
    until_over(bench)
    return told(bench)


def told(bench: Bench) -> dict[str, Any]:
    shown: dict[str, Any] = picture(bench.engine.run)["walk"]
    return shown


def verdicts(bench: Bench) -> dict[str, str | None]:
    return {bed: one["verdict"] for bed, one in told(bench)["beds"].items()}


def water(bench: Bench, bed: str = "south") -> str:
    """Order water; how it is answered."""
    answer = bench.order("water", bed, litres=20.0)
    assert answer is not None
    return answer.reason


# -- what arms


@pytest.mark.hazard("V9")
def test_a_valve_opens_only_after_its_walk() -> None:
    bench = unarmed()
    assert water(bench) == "not_armed"
    bench.live(60.0)
    assert "not_armed" in bench.alert_codes()
    assert bench.leases("south") == []
    shown = walked(bench)
    assert shown["armed"]
    assert verdicts(bench) == {"south": "ok", "north": "ok"}
    assert "not_armed" not in bench.alert_codes()
    bench.live(620.0)
    assert water(bench) == "watering"


def test_a_trial_is_armed_without_a_walk_but_obeys_one_that_refused() -> None:
    bench = Metered(small_garden(beds=BEDS, master=True, meter=True))
    assert told(bench)["armed"]
    assert "not_armed" not in bench.alert_codes()
    bench.breakage = bench.breakage.__class__(stuck_closed=frozenset({"south"}))
    walked(bench)
    assert verdicts(bench) == {"south": "no_flow", "north": "ok"}
    bench.live(620.0)
    assert (water(bench), water(bench, "north")) == ("not_armed", "watering")
    assert "not_armed" in bench.alert_codes()


def test_the_master_is_first_then_one_bed_after_the_other_and_all_is_in_the_ledger() -> None:
    bench = unarmed()
    walked(bench)
    opened = [(valve, at_s) for at_s, valve, what in bench.edges if what == "open"]
    assert [valve for valve, _ in opened] == ["master", "south", "north"]
    assert opened[1][1] - opened[0][1] >= 180.0  # all closed for three minutes before a bed opens
    rows = bench.record.rows.values()
    assert {row.bed for row in rows} == set(BEDS)
    for bed in BEDS:
        assert sum(row.charged_l for row in rows if row.bed == bed) >= bench.litres[bed] > 1.6
    by = {effect.by for effect in bench.of(Reserve)}
    assert by == {"walk:tester"}
    assert bench.engine.state.waterings_started == 0


def test_a_minute_is_measured_after_the_line_is_full() -> None:
    bench = unarmed()
    shown = walked(bench)["beds"]["south"]
    assert shown["flow_l_min"] == pytest.approx(FLOW_L_MIN, abs=0.11)
    assert shown["expected_l_min"] == pytest.approx(FLOW_L_MIN)
    assert shown["fill_l"] < 1.0
    opened_s = next(at_s for at_s, valve, what in bench.edges if (valve, what) == ("south", "open"))
    closed_s = next(
        at_s for at_s, valve, what in bench.edges if valve == "south" and what != "open"
    )
    assert closed_s - opened_s >= 60.0
    assert (shown["who"], shown["confirmed"]) == ("tester", "meter")


@pytest.mark.hazard("M4")
@pytest.mark.parametrize(
    ("factor", "verdict"), [(10.0, "apart"), (1.3, "apart"), (1.2, "ok"), (0.7, "apart")]
)
def test_a_meter_a_quarter_apart_from_the_emitters_arms_nothing(
    factor: float, verdict: str
) -> None:
    bench = unarmed(beds=("south",))
    bench.factor = factor
    walked(bench)
    assert verdicts(bench) == {"south": verdict}
    bench.live(620.0)
    assert water(bench) == ("watering" if verdict == "ok" else "not_armed")
    assert not bench.alert_codes() & {"burst", "leak", "valve_stuck_open"}


@pytest.mark.parametrize(
    ("fault", "verdict"),
    [
        ({"stuck_closed": frozenset({"south"})}, "no_flow"),
        ({"deaf": frozenset({"south"})}, "silent"),
    ],
)
def test_a_valve_that_gives_nothing_or_does_not_answer_is_named(
    fault: dict[str, Any], verdict: str
) -> None:
    bench = unarmed()
    bench.breakage = bench.breakage.__class__(**fault)
    shown = walked(bench)
    assert verdicts(bench) == {"south": verdict, "north": "ok"}
    assert "Not armed" in shown["beds"]["south"]["text"]
    bench.live(620.0)
    assert (water(bench), water(bench, "north")) == ("not_armed", "watering")


@pytest.mark.hazard("M2")
def test_flow_with_every_bed_closed_ends_the_walk() -> None:
    bench = unarmed()
    bench.gush_l_min = 0.3
    shown = walked(bench)
    assert "leak" in bench.alert_codes()
    assert not shown["armed"]
    assert verdicts(bench) == {"south": None, "north": None}
    assert walk(bench).reason == "valve_latched"


# -- people


def test_a_person_is_asked_bed_by_bed_and_no_is_no() -> None:
    bench = unarmed()
    assert bench.order("walk_backflow", device="air_gap").status == "accepted"  # type: ignore[union-attr]
    walk(bench, yes=False)
    until_over(bench, asked=True)
    assert told(bench)["now"]["asks"] == "south"
    assert bench.order("walk_answer", "north", yes=True).reason == "other_bed"  # type: ignore[union-attr]
    bench.order("walk_answer", "south", yes=False)
    until_over(bench, asked=True)
    bench.order("walk_answer", yes=True)
    until_over(bench)
    assert verdicts(bench) == {"south": "wrong_bed", "north": "ok"}
    assert told(bench)["beds"]["north"]["confirmed"] == "person"
    bench.live(620.0)
    assert (water(bench), water(bench, "north")) == ("not_armed", "watering")


def test_nobody_answers_and_the_walk_ends_without_arming() -> None:
    bench = unarmed()
    walk(bench, yes=False)
    until_over(bench, asked=True)
    until_over(bench)
    assert "Nobody answered" in told(bench)["said"]
    assert verdicts(bench) == {"south": None, "north": None}
    assert bench.order("walk_answer", yes=True).reason == "nothing_asked"  # type: ignore[union-attr]


@pytest.mark.hazard("E6")
def test_nothing_is_armed_before_the_backflow_question_is_answered() -> None:
    bench = unarmed(beds=("south",))
    walk(bench, yes=False)
    until_over(bench, asked=True)
    bench.order("walk_answer", yes=True)
    until_over(bench)
    shown = told(bench)
    assert (verdicts(bench), shown["armed"], shown["backflow"]) == ({"south": "ok"}, False, None)
    assert "backflow" in shown["said"]
    bench.live(620.0)
    assert water(bench) == "not_armed"
    answer = bench.order("walk_backflow", device="reduced_pressure", on="2026-04-20")
    assert answer is not None
    assert answer.status == "accepted"
    assert told(bench)["backflow"]["tested"] == "2026-04-20"
    assert water(bench) == "watering"


@pytest.mark.parametrize(
    ("device", "on"),
    [
        ("garden hose", ""),
        ("reduced_pressure", ""),
        ("double_check", "last spring"),
        ("pressure_vacuum_breaker", "2031-01-01"),
    ],
)
def test_a_backflow_answer_has_to_be_one(device: str, on: str) -> None:
    bench = unarmed()
    answer = bench.order("walk_backflow", device=device, on=on)
    assert answer is not None
    assert answer.status == "invalid"
    assert told(bench)["backflow"] is None


def test_without_a_meter_a_person_has_to_say_and_yes_is_not_enough() -> None:
    bench = unarmed(beds=("south",), meter=False)
    walked(bench)
    assert verdicts(bench) == {"south": "nobody"}
    walk(bench, yes=False)
    bench.live(700.0)
    until_over(bench, asked=True)
    bench.order("walk_answer", yes=True)
    until_over(bench)
    shown = told(bench)["beds"]["south"]
    assert (shown["verdict"], shown["flow_l_min"], shown["confirmed"]) == ("ok", None, "person")
    assert "no meter measured it" in shown["text"]


# -- cut, and gone on with


@pytest.mark.parametrize("how", ["restart", "stop_all", "walk_end", "lock"])
def test_what_is_finished_stays_walked_whatever_cuts_the_walk(how: str) -> None:
    bench = unarmed()
    walk(bench)
    while "south" not in proving(bench).walks or not bench.is_open("north"):
        bench.tick()
    if how == "restart":
        bench.restart(60.0)
        bench.connect()
        bench.live(200.0)
    else:
        bench.order(how, why="a look")
    assert not bench.is_open("north")
    bench.live(30.0)
    assert proving(bench).active is None
    assert verdicts(bench) == {"south": "ok", "north": None}
    bench.order("unlock")
    bench.live(700.0)
    began_s = bench.now_s
    shown = walked(bench)
    assert shown["armed"]
    assert bench.leases("south")[-1] < began_s  # it was not opened again


def test_changed_emitters_ask_for_that_valve_anew_and_for_no_other() -> None:
    bench = unarmed()
    walked(bench)
    changed = bench.garden.model_dump(mode="json")
    changed["beds"]["south"]["emitters"] = 60
    garden = Garden.model_validate(changed)
    bench.step(GardenChanged(**bench.times(), garden_json=garden.model_dump_json()))
    assert verdicts(bench) == {"south": None, "north": "ok"}
    bench.live(620.0)
    assert (water(bench), water(bench, "north")) == ("not_armed", "watering")
    assert "not_armed" in bench.alert_codes()


def test_the_record_outlives_a_restart() -> None:
    bench = unarmed()
    before = walked(bench)["beds"]
    bench.restart(3600.0)
    bench.connect()
    bench.live(800.0)
    bench.engine.state.armed = False
    assert told(bench)["beds"] == before
    assert water(bench) == "watering"


# -- inside the guard


def test_a_walk_is_exempt_from_the_twelve_starts_and_from_no_cap() -> None:
    bench = unarmed(beds=("south",))
    bench.engine.state.armed = True
    spent = [
        LedgerEntry(dose=f"d{n}", bed="south", charged_l=0.1, ended_trusted_s=0.0)
        for n in range(12)
    ]
    bench.engine.state.ledger = spent
    assert water(bench) == "starts"
    assert walked(bench)["beds"]["south"]["verdict"] == "ok"
    cap_l = bench.garden.limits_for("south").bed_l_day
    entry = LedgerEntry(dose="d", bed="south", charged_l=cap_l, ended_trusted_s=bench.trusted_s)
    bench.engine.state.ledger = [entry]
    bench.live(700.0)
    before_l = bench.litres["south"]
    walk(bench, bed="south")
    until_over(bench)
    assert "limit" in told(bench)["said"]
    assert bench.litres["south"] == before_l


def test_nothing_else_opens_during_a_walk() -> None:
    bench = unarmed()
    walked(bench)
    bench.live(700.0)
    bench.dry_out(0.6)
    walk(bench, bed="south")
    bench.live(20.0)
    assert water(bench, "north") == "proving"
    until_over(bench)
    assert bench.leases("north")[-1] < bench.leases("south")[-1]


def test_a_bed_that_drinks_is_not_disturbed_by_a_walk() -> None:
    bench = unarmed()
    walked(bench)
    bench.live(700.0)
    assert water(bench) == "watering"
    assert walk(bench, bed="north").reason == "busy"


def test_the_quiet_start_refuses_a_walk() -> None:
    bench = Bench(small_garden(), ready=False, armed=False)
    bench.connect()
    assert walk(bench).reason == "quiet_start"


@pytest.mark.hazard("M5")
def test_a_bed_that_clogs_is_told_by_its_flow() -> None:
    bench = unarmed(beds=("south",))
    walked(bench)
    bench.breakage = bench.breakage.__class__(supply_frac=0.75)
    for _ in range(3):
        bench.live(700.0)
        assert bench.order("water", "south", litres=20.0).reason == "watering"  # type: ignore[union-attr]
        bench.live(1300.0)
    assert "flow_low" in bench.alert_codes()
    assert told(bench)["beds"]["south"]["trend_l_min"] == pytest.approx(1.2, abs=0.1)
    bench.breakage = bench.breakage.__class__()
    for _ in range(2):
        bench.live(700.0)
        bench.order("water", "south", litres=20.0)
        bench.live(1300.0)
    assert "flow_low" not in bench.alert_codes()


@pytest.mark.hazard("M1")
def test_a_burst_is_judged_by_the_flow_that_the_walk_found() -> None:
    bench = unarmed(beds=("south",))
    bench.breakage = bench.breakage.__class__(supply_frac=0.8)
    walked(bench)
    bench.live(700.0)
    assert bench.order("water", "south", litres=60.0).reason == "watering"  # type: ignore[union-attr]
    bench.live(120.0)
    bench.gush_l_min = 0.9  # 2.2 in all: 1.4 x the emitters' word, 1.7 x what was found
    bench.live(60.0)
    assert "burst" in bench.alert_codes()


def test_a_walk_is_the_same_when_its_journal_is_fed_again() -> None:
    bench = unarmed()
    walked(bench)
    fresh = Engine(bench.garden)
    effects = [effect for event in bench.events for effect in fresh.step(event)]
    assert effects == [effect for _, effect in bench.log]
    assert fresh.state.proving == proving(bench)


@pytest.mark.hazard("M1")
def test_a_burst_is_seen_as_soon_as_the_line_took_what_once_filled_it() -> None:
    bench = unarmed(beds=("south",))
    walked(bench)
    bench.live(700.0)
    began_s = bench.now_s
    assert water(bench) == "watering"
    while not bench.is_open("south"):
        bench.tick()
    bench.gush_l_min = 3.2  # three times its flow
    while "burst" not in bench.alert_codes() and bench.now_s < began_s + 120.0:
        bench.tick()
    assert bench.now_s - began_s < 60.0  # without a walk not before a minute and ten seconds


def test_a_stop_of_another_bed_ends_no_walk_and_an_announced_hose_begins_none() -> None:
    bench = unarmed()
    walk(bench)
    bench.live(20.0)
    bench.order("stop", "north")
    assert proving(bench).active is not None
    bench.order("walk_end")
    assert proving(bench).active is None
    assert bench.order("walk_end").reason == "nothing"  # type: ignore[union-attr]
    bench.engine.state.taps.hose = Hose(
        since_utc_s=bench.at_utc_s,
        until_utc_s=bench.at_utc_s + 600.0,
        until_trusted_s=bench.trusted_s + 600.0,
        who="tester",
    )
    assert walk(bench).reason == "hose"


def test_another_version_keeps_what_was_walked() -> None:
    bench = unarmed()
    walked(bench)
    fresh = Engine(bench.garden)
    carry_holds(fresh.run, bench.engine.dump().decode(), [])
    assert fresh.state.proving == proving(bench)
    carry_holds(fresh.run, '{"proving": {"walks": {"south": 1}}}', [])
    assert fresh.state.proving == Proving()


@pytest.mark.hazard("M5")
@pytest.mark.parametrize(("frac", "alone"), [(0.75, True), (0.9, False)])
def test_beds_whose_flow_is_off_by_a_fifth_drink_alone_the_next_time(
    frac: float, alone: bool
) -> None:
    bench = unarmed(at_once=2)
    walked(bench)
    bench.live(700.0)
    bench.breakage = bench.breakage.__class__(supply_frac=frac)
    for bed in ("south", "north"):
        assert water(bench, bed) == "watering"
        bench.live(60.0)
    bench.live(1800.0)
    assert {bed: bench.engine.state.beds[bed].alone for bed in BEDS} == dict.fromkeys(BEDS, alone)
    assert ("alone_next" in {note.code for note in bench.notes("watering")}) is alone
    assert water(bench) == "watering"
    bench.live(30.0)
    assert water(bench, "north") == ("busy" if alone else "watering")
    bench.live(1500.0)
    if alone:
        assert not bench.engine.state.beds["south"].alone, "measured"
        assert water(bench, "north") == "watering"
        bench.live(30.0)
        assert water(bench, "south") == "busy", "the other one is not yet"


@pytest.mark.hazard("V2")
@pytest.mark.parametrize("stuck", [True, False])
def test_a_valve_that_gives_nothing_beside_another_is_seen_by_the_rise_that_stays_away(
    stuck: bool,
) -> None:
    bench = unarmed(at_once=2)
    walked(bench)
    bench.live(700.0)
    assert water(bench) == "watering"
    bench.live(120.0)
    if stuck:
        bench.breakage = bench.breakage.__class__(stuck_closed=frozenset({"north"}))
    assert water(bench, "north") == "watering"
    bench.live(90.0)
    assert bench.is_open("south")
    assert bench.is_open("north") is not stuck
    assert ("valve_stuck_closed" in bench.alert_codes()) is stuck
