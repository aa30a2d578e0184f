"""Attacks on what crosses a border: renamed beds, clocks put back, lying probes, nagging hands."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable, Iterable
from typing import Any

import pytest

from controller.effects import Answer
from controller.engine import Engine
from controller.errors import PayloadError, StoreError
from controller.events import Event, Order, OrderKind, Started, Tick
from controller.flagging import raise_flag
from controller.garden import Garden
from controller.probe_care import swap_holds
from controller.probe_readings import rain_known
from controller.restoring import restored
from controller.sensing.flags import Flag
from controller.sensing.payload import decode_probe, decode_weather
from controller.state import Pause
from controller.store_reads import Recovered, Snapshot
from controller.view import picture
from controller.watering.eye import Eye, Leaves, When, look
from controller.watering.guard import latched
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, START_UTC_S, small_garden
from tests.probe_hands import STEP_S, A, Hands, drying, flat, garden

SOUTH_20 = "probe_suspect-south-south-20"


def told(hands: Hands, what: str, **more: Any) -> Answer:
    order = Order(
        **hands.times(), order=f"{what}{len(hands.effects)}", what=OrderKind(what), who="a", **more
    )
    return next(e for e in hands.step(order) if isinstance(e, Answer))


def restart(hands: Hands, change: Callable[[dict[str, Any]], None]) -> Hands:
    """Begin anew with another garden file."""
    document = json.loads(hands.garden.model_dump_json(exclude_none=True))
    change(document)
    hands.garden = Garden.model_validate(document)
    hands.engine = Engine.load(hands.engine.dump())
    file = hands.garden.model_dump_json()
    hands.step(Started(**hands.times(), trusted_s=hands.now_s, stored_epoch=1, garden_json=file))
    return hands


def other_probe(document: dict[str, Any]) -> None:
    document["probes"]["new-20"] = document["probes"].pop(A)
    document["beds"]["south"]["probes"] = ["new-20", "south-40"]


def other_name(document: dict[str, Any]) -> None:
    document["beds"]["west"] = document["beds"].pop("south")


@pytest.fixture
def hands() -> Hands:
    hands = Hands(garden(beds=("south", "north")), south_20=drying(), south_40=drying())
    hands.live(2)
    return hands


def swap(hands: Hands) -> None:
    """Two probes that answered for each other, as the trials of doses find it."""
    for bed in ("south", "north"):
        hands.engine.run.raise_alert("probes_swapped", "swapped", bed=bed, person=True)
        raise_flag(hands.engine.run, f"{bed}-20", Flag.SWAPPED)
    hands.engine.state.crossed["north-20|south-20"] = 2


# -- another garden file


@pytest.mark.parametrize("change", [other_probe, other_name])
def test_every_alert_that_stands_after_another_file_can_be_cleared(
    hands: Hands, change: Callable[[dict[str, Any]], None]
) -> None:
    swap(hands)
    restart(hands, change)
    for alert in list(hands.engine.state.alerts):
        told(hands, "clear", alert=alert, why="looked")
    left = [a.code for a in hands.engine.state.alerts.values()]
    assert not {"probe_suspect", "probes_swapped"} & set(left)
    assert not hands.engine.state.crossed


def test_the_alert_of_a_probe_that_is_gone_is_over(hands: Hands) -> None:
    raise_flag(hands.engine.run, A, Flag.QUARANTINED)
    assert SOUTH_20 in hands.engine.state.alerts
    restart(hands, other_probe)
    assert SOUTH_20 not in hands.engine.state.alerts


def test_flags_and_the_hold_of_swapped_probes_follow_the_beds_new_name(hands: Hands) -> None:
    swap(hands)
    restart(hands, other_name)
    alerts = hands.engine.state.alerts
    assert SOUTH_20 not in alerts
    assert "probe_suspect-west-south-20" in alerts
    assert swap_holds(hands.engine.run, "west")
    assert swap_holds(hands.engine.run, "north")


@pytest.mark.parametrize(("valve", "north_too"), [("south", False), (None, True)])
def test_a_latch_outlives_its_beds_new_name(
    hands: Hands, valve: str | None, north_too: bool
) -> None:
    run = hands.engine.run
    run.raise_alert("valve_stuck_open", "stuck", bed="south", valve=valve, person=True)
    assert not latched(run, "north")
    run = restart(hands, other_name).engine.run
    assert latched(run, "west")
    assert latched(run, "north") is north_too


# -- clocks


@pytest.mark.hazard("T2")
def test_a_clock_that_is_put_back_keeps_no_bed_dry() -> None:
    bench = Bench(small_garden())
    bench.told_depletion = {"south": 0.5}
    bench.live(DAY_S, tick_s=60.0)
    first_l = bench.litres["south"]
    assert first_l > 0.0
    bench.wall_ahead_s -= 20 * DAY_S
    bench.told_depletion = {"south": 0.6}
    bench.live(1.5 * DAY_S, tick_s=60.0)
    memory, water = bench.engine.state.beds["south"], bench.engine.state.water["south"]
    assert bench.litres["south"] > first_l
    assert memory.last_watering_utc_s is not None
    assert water.wetted_utc_s is not None
    assert max(memory.last_watering_utc_s, water.wetted_utc_s) <= bench.at_utc_s


@pytest.mark.hazard("T2")
def test_a_clock_that_swings_moves_no_more_water_than_the_day_allows() -> None:
    bench = Bench(small_garden(bed_l_day=60.0))
    bench.told_depletion = {"south": 0.7}
    for swing_d in (3, -9, 40, -40, 0.2, -0.2):
        bench.wall_ahead_s += swing_d * DAY_S
        bench.live(5 * 3600.0, tick_s=60.0)
        assert bench.litres_of_last_day("south") <= 60.0 + 1e-6
    assert Engine.load(bench.engine.dump()).dump() == bench.engine.dump()


def test_a_mast_of_before_the_restart_is_not_known_for_ever(hands: Hands) -> None:
    hands.live(40)
    engine, at_utc_s = Engine.load(hands.engine.dump()), hands.times()["at_utc_s"]
    engine.step(Started(at_utc_s=at_utc_s, mono_s=10.0, trusted_s=hands.now_s, stored_epoch=1))
    engine.step(Tick(at_utc_s=at_utc_s + 8000.0, mono_s=8010.0))
    assert not rain_known(engine.run)


# -- nodes that lose count


def numbered(boots: Iterable[tuple[str | None, int]]) -> Hands:
    """A probe that tells boots and numbers, ten minutes apart."""
    hands = Hands(south_40=drying())
    for n, (boot, seq) in enumerate(boots):
        hands.live(STEP_S / 3600.0)
        hands.tell(A, 0.25 - 0.0002 * n, boot=boot, seq=seq)
    return hands


def test_a_word_without_its_boot_does_not_mute_the_node() -> None:
    hands = numbered([("x", 1), ("x", 2), (None, 3), ("x", 4), ("x", 5)])
    assert hands.probe().rejected == 0
    hands.tell(A, 0.1, seq=5)
    hands.tell(A, 0.1, seq=2)
    assert hands.probe().rejected == 2


def test_a_node_that_goes_back_to_an_earlier_boot_is_heard_again() -> None:
    there_and_back = [("a", n) for n in range(9)] + [("b", n) for n in range(9)]
    hands = numbered(there_and_back + [("a", n) for n in range(9)])
    assert hands.probe().boot == "a"
    assert not hands.stands(Flag.OUT_OF_ORDER)


def test_a_late_word_of_an_earlier_boot_stays_out() -> None:
    hands = numbered([("a", 7), ("b", 1), ("a", 8), ("b", 2), ("a", 8), ("b", 3)])
    assert (hands.probe().boot, hands.probe().rejected) == ("b", 2)


def test_one_old_word_again_and_again_never_comes_to_life() -> None:
    hands = numbered([("a", 7), ("b", 1)] + [("a", 8)] * 12)
    assert (hands.probe().boot, hands.probe().rejected) == ("b", 12)


# -- the record of another version


def of_version_1(state_json: str | None, events: Iterable[Event] = ()) -> Engine:
    kept = Recovered(
        history="kept",
        stored_epoch=1,
        stored_seq=0,
        ledger=(),
        trusted_s=0.0,
        snapshot=Snapshot(version="1", state_json=state_json),
        events=iter(events),
    )
    return restored(garden(beds=("south", "north")), kept)[0]


def ordered(what: OrderKind, **more: Any) -> Order:
    return Order(at_utc_s=START_UTC_S, mono_s=5.0, order="o", what=what, who="a", **more)


def test_lock_pauses_and_latches_outlive_an_update(hands: Hands) -> None:
    state = hands.engine.state
    state.lock_why = "pipes"
    state.beds["south"].pause = Pause(until_utc_s=START_UTC_S + 9 * DAY_S, why="away")
    hands.engine.run.raise_alert("burst", "burst", person=True)
    hands.engine.run.raise_alert("frost", "cold")
    document = json.loads(hands.engine.dump())
    document["alerts"]["odd"] = {"code": "leak"}
    document["beds"]["gone"] = document["beds"]["north"] | {"pause": 7}
    engine = of_version_1(json.dumps(document | {"probes": "of another shape"}))
    assert engine.state.lock_why == "pipes"
    assert engine.state.beds["south"].pause is not None
    assert engine.state.beds["north"].pause is engine.state.pause is None
    assert list(engine.state.alerts) == ["burst"]
    assert latched(engine.run, "north")
    assert not engine.state.water
    engine.step(Started(at_utc_s=START_UTC_S, mono_s=9.0, trusted_s=0.0, stored_epoch=1))
    assert engine.state.lock_why == "pipes"


def test_orders_after_the_snapshot_count_too(hands: Hands) -> None:
    hands.engine.state.lock_why = "pipes"
    dumped = hands.engine.dump().decode()
    assert of_version_1(dumped, [ordered(OrderKind.UNLOCK)]).state.lock_why is None
    until = {"until_utc_s": START_UTC_S + DAY_S}
    events = [ordered(OrderKind.PAUSE, **until), ordered(OrderKind.LOCK, why="trench")]
    engine = of_version_1(None, [*events, ordered(OrderKind.PAUSE, bed="gone", **until)])
    assert engine.state.lock_why == "trench"
    assert engine.state.pause is not None


@pytest.mark.parametrize("state_json", [None, "", "[]", "null", "[" * 100_000, '{"beds": 3}'])
def test_what_cannot_be_read_is_left_behind(state_json: str | None) -> None:
    def broken() -> Iterable[Event]:
        yield ordered(OrderKind.LOCK, why="trench")
        raise StoreError("an event that this version does not know")

    assert of_version_1(state_json, broken()).state.lock_why == "trench"


# -- hands that do not stop


def test_limp_again_and_again_beside_lying_probes_stays_within_the_days_litres() -> None:
    bench = Bench(small_garden(bed_l_day=60.0))
    bench.told_depletion = {"south": 0.9}
    for n in range(3 * 24):
        for what, more in (("look", {"leaves": 2, "when": "morning"}), ("soil", {"feel": "dry"})):
            fields: dict[str, Any] = {"depth_cm": 20.0} if what == "soil" else {}
            bench.step(
                Order(
                    **bench.times(),
                    order=f"{what}{n}",
                    what=OrderKind(what),
                    who="a",
                    bed="south",
                    **fields,
                    **more,
                )
            )
        bench.live(3600.0, tick_s=60.0)
        assert bench.litres_of_last_day("south") <= 60.0 + 1e-6
    assert bench.litres["south"] > 0.0


def test_a_gateway_that_repeats_itself_does_not_flood_the_bed() -> None:
    bench = Bench(small_garden())
    bench.told_depletion = {"south": 0.93}
    bench.live(4 * DAY_S, tick_s=60.0)
    probes = bench.engine.state.probes
    assert all(Flag.FROZEN in probes[name].flags for name in ("south-20", "south-40"))
    before_l = bench.litres["south"]
    bench.live(6 * DAY_S, tick_s=60.0)
    assert bench.litres["south"] - before_l < 6 * 0.35 * bench.garden.limits_for("south").bed_l_day


def test_a_dry_feel_told_a_hundred_times_is_no_thirst_and_no_flood() -> None:
    hands = Hands(south_20=flat(0.27), south_40=flat(0.27))
    hands.live(24)
    water = hands.engine.state.water["south"]
    for _ in range(100):
        told(hands, "soil", bed="south", feel="dry", depth_cm=20.0)
    day = hands.engine.state.days["south"]  # of the full point that the feels taught
    assert water.depletion_mm <= (day.line_frac + 0.16) * day.taw_mm
    assert abs(water.log_thirst) < 0.1
    assert math.isfinite(water.var_mm2)


def test_no_number_of_looks_makes_an_eye_blind_for_ever() -> None:
    eye = Eye()
    state: dict[str, Any] = {"depletion_frac": 0.6, "spread_frac": 0.01, "line_frac": 0.4}
    for _ in range(2000):
        look(eye, Leaves.UPRIGHT, When.MORNING, **state, at_utc_s=0.0)
    assert min(eye.weights_frac) > 0.0
    assert sum(eye.weights_frac) == pytest.approx(1.0)


# -- whatever passes the border neither stops the engine nor spoils its record


@pytest.mark.parametrize(
    "probe",
    [
        {"kind": "raw"},
        {"kind": "raw", "calibration": [[3000, 0.1], [1200, 0.4]]},
        {"kind": "theta_m3_m3"},
        {"kind": "theta_pct"},
        {"kind": "tension_kpa"},
        {"kind": "resistance_kohm"},
    ],
    ids=lambda probe: "-".join(probe) + probe["kind"],
)
def test_extreme_words_of_a_probe_leave_a_state_that_can_be_read_back(probe: Any) -> None:
    chosen = random.Random(7)
    hands = Hands(garden(field="/v", **probe), south_40=drying())
    values = [0, -0.0, 5e-324, 1, -1, 25, 0.25, 99.9, 4095, 1e5, -1e5, 1e9, -1e9, 10**17]
    for n in range(300):
        body = {
            "v": chosen.choice(values),
            "soil_temp_c": chosen.choice([None, -300, -273.15, -18, -17.9, 0, 24, 1000]),
            "battery_v": chosen.choice([None, 0, 1e-9, 3.3, 60]),
            "seq": chosen.choice([None, n, 0, 2**53 - 1]),
            "boot": chosen.choice([None, "a", n]),
        }
        try:
            setting = hands.garden.probes[A]
            hands.step(decode_probe(json.dumps(body).encode(), A, setting, **hands.times()))
        except PayloadError:
            continue
        if n % 30 == 0:
            hands.live(1)
    assert Engine.load(hands.engine.dump()).dump() == hands.engine.dump()


def test_extreme_words_of_a_mast_leave_a_balance() -> None:
    chosen = random.Random(7)
    hands = Hands(south_20=drying(), south_40=drying())
    values = [None, 0, -0.0, -999, 65535, 1e5, -1e5, 20, 105, -20.1, 1e-308, 59.9]
    names = ("temp_c", "rh_pct", "rain_mm_total", "solar_w_m2", "wind_m_s")
    for _ in range(1500):
        body = {name: chosen.choice(values) for name in names}
        hands.now_s += chosen.choice([1.0, 600.0, 9000.0])
        try:
            hands.step(decode_weather(json.dumps(body).encode(), "mast", **hands.times()))
        except PayloadError:
            continue
        hands.step(Tick(**hands.times()))
    water, day = hands.engine.state.water["south"], hands.engine.state.days["south"]
    assert 0.0 <= water.depletion_mm <= day.taw_mm
    assert Engine.load(hands.engine.dump()).dump() == hands.engine.dump()
    json.dumps(picture(hands.engine.run), allow_nan=False)


def test_an_engine_that_is_put_down_and_taken_up_decides_the_same() -> None:
    """Every few hours one of two engines goes through its own record; hands tell both the same."""
    chosen = random.Random(3)
    both = [Hands(south_20=drying(0.22), south_40=drying(0.23)) for _ in range(2)]
    orders: list[dict[str, Any]] = [
        {"what": "soil", "feel": "dry", "depth_cm": 20.0},
        {"what": "soil", "feel": "wet", "depth_cm": 40.0},
        {"what": "look", "leaves": 2, "when": "morning"},
        {"what": "stage", "stage": "first_set"},
        {"what": "stage", "stage": "topped"},
        {"what": "forget_stage", "stage": "first_set"},
        {"what": "forget_looks"},
        {"what": "forget"},
        {"what": "poured", "litres": 25.0},
        {"what": "forget_poured"},
        {"what": "miss"},
        {"what": "forget_miss"},
    ]
    for n in range(40):
        fields = dict(chosen.choice(orders))
        what = fields.pop("what")
        for hands in both:
            told(hands, what, bed="south", **fields)
            hands.live(3)
        if n % 2:
            both[0].engine = Engine.load(both[0].engine.dump())
    assert both[0].effects == both[1].effects
    assert both[0].engine.dump() == both[1].engine.dump()
    assert both[0].doses() > 0
