"""The picture: plain JSON without NaN in every state, and `closed` only with evidence."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest

from controller.bed_views import sky_of, view_of, window_now
from controller.events import ForeignController, StoreState, WeatherReading
from controller.view import HEARD_S, picture
from controller.watering import outlook
from controller.watering.decision import Rules
from controller.watering.policy import decide
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

BEDS = ("south", "wall")
BED_STATES = {
    "learning",
    "drying",
    "due",
    "watering",
    "soaking",
    "paused",
    "locked",
    "blind",
    "held",
    "cleared",
}
VALVE_STATES = {"closed", "told_to_close", "opening", "open", "unknown", "latched"}


def garden_bench(**told: Any) -> Bench:
    return Bench(small_garden(beds=BEDS, master=True, meter=True), **told)


def view(bench: Bench) -> dict[str, Any]:
    seen = picture(bench.engine.run)
    again: dict[str, Any] = json.loads(json.dumps(seen, allow_nan=False))
    assert again == seen
    for bed in seen["beds"].values():
        assert bed["state"] in BED_STATES
        assert bed["valve"] in VALVE_STATES
        assert bed["reason"]["text"].endswith(".")
    return again


def south(bench: Bench) -> dict[str, Any]:
    found: dict[str, Any] = view(bench)["beds"]["south"]
    return found


def watering(bench: Bench) -> None:
    bench.dry_out(0.6)
    bench.live(300.0)


def soaking(bench: Bench) -> None:
    bench.dry_out(0.6, "south")
    bench.live(3000.0)


def stopped(bench: Bench) -> None:
    watering(bench)
    bench.deaf_to_close.update(BEDS)
    bench.order("stop_all")


def cut_off(bench: Bench) -> None:
    watering(bench)
    bench.disconnect()


def blind(bench: Bench) -> None:
    bench.live(4000.0, tick_s=30.0)


def latched(bench: Bench) -> None:
    bench.contracts["south"] = 2
    bench.live(60.0)


def ordered(bench: Bench) -> None:
    bench.record_mode = "hold"
    bench.order("water", "south", litres=20.0)


STATES: list[Any] = [
    pytest.param(lambda b: None, "drying", id="drying"),
    pytest.param(watering, "watering", id="watering"),
    pytest.param(soaking, "soaking", id="soaking"),
    pytest.param(lambda b: b.order("lock", why="pipes"), "locked", id="locked"),
    pytest.param(blind, "blind", id="blind"),
    pytest.param(latched, "held", id="latched"),
    pytest.param(cut_off, "held", id="link-lost"),
    pytest.param(ordered, "watering", id="reserved"),
]


@pytest.mark.parametrize(("prepare", "state"), STATES)
def test_each_state_has_its_word(prepare: Callable[[Bench], Any], state: str) -> None:
    bench = garden_bench()
    if prepare not in {blind, watering, soaking, cut_off}:
        bench.dry_out(0.1)
    prepare(bench)
    bench.live(20.0)
    assert south(bench)["state"] == state


def test_a_pause_is_shown_with_its_end() -> None:
    bench = garden_bench()
    bench.dry_out(0.1)
    bench.order("pause", "south", until_utc_s=bench.at_utc_s + 3600.0, why="holiday")
    bench.live(20.0)
    assert south(bench)["state"] == "paused"
    assert view(bench)["holds"]["beds_paused"]["south"]["why"] == "holiday"


@pytest.mark.parametrize(
    "jump_s", [25 * 3600.0, -25 * 3600.0, -1.78e9, 1e9], ids=["ahead", "back", "1970", "far-ahead"]
)
def test_a_clock_that_jumps_leaves_a_picture(jump_s: float) -> None:
    bench = garden_bench()
    watering(bench)
    bench.wall_ahead_s += jump_s
    bench.live(700.0, tick_s=20.0)
    assert view(bench)["garden"]["id"] == "plot"


@pytest.mark.parametrize("ready", [True, False], ids=["ready", "quiet-start"])
def test_a_start_leaves_a_picture(ready: bool) -> None:
    bench = garden_bench(ready=ready)
    assert view(bench)["ready"] is ready
    assert view(bench)["epoch"] == (1 if ready else 0)


def test_every_trouble_at_once_leaves_a_picture() -> None:
    bench = garden_bench(history="lost", armed=False)
    bench.step(StoreState(**bench.times(), can_record=False))
    bench.step(WeatherReading(**bench.times(), mast="mast", temp_c=-3.0))
    bench.step(ForeignController(**bench.times(), epoch=50))
    bench.read("south", 40.0)
    bench.disconnect()
    bench.live(60.0)
    codes = {alert["code"] for alert in view(bench)["alerts"]}
    assert codes >= {"history_lost", "cannot_record", "other_controller", "link_lost"}


@pytest.mark.hazard("V4")
def test_closed_is_said_only_with_evidence() -> None:
    bench = garden_bench()
    assert south(bench)["valve"] == "closed"
    stopped(bench)
    assert south(bench)["valve"] == "told_to_close"
    assert south(bench)["may_flow"] is True
    bench.deaf_to_close.clear()
    bench.live(30.0)
    assert south(bench)["valve"] == "closed"
    assert south(bench)["may_flow"] is False


def test_without_a_link_an_open_valve_is_unknown_and_never_closed() -> None:
    bench = garden_bench()
    cut_off(bench)
    assert south(bench)["valve"] == "unknown"
    bench.live(400.0, tick_s=20.0)
    assert south(bench)["valve"] == "unknown"
    assert south(bench)["may_flow"] is False


def heard(bench: Bench) -> list[bool]:
    seen = view(bench)
    return [*(bed["valve_heard"] for bed in seen["beds"].values()), seen["master_heard"]]


def test_a_valve_is_heard_only_while_its_node_speaks() -> None:
    bench = garden_bench()
    bench.dry_out(0.1)
    bench.live(100.0)
    assert heard(bench) == [True, True, True]
    bench.mute.add("south")
    bench.live(HEARD_S - 100.0)
    assert heard(bench) == [True, True, True]
    bench.live(200.0)
    assert heard(bench) == [False, True, True]
    assert south(bench)["valve"] == "closed", "it was, when it was heard last"
    bench.mute.clear()
    bench.live(61.0)
    assert heard(bench) == [True, True, True]


def test_after_a_lost_link_a_valve_is_heard_from_its_first_word_on() -> None:
    bench = garden_bench()
    bench.dry_out(0.1)
    bench.live(100.0)
    bench.disconnect()
    assert heard(bench) == [False, False, False]
    bench.mute.update({*BEDS, "master"})
    bench.live(10.0)
    bench.connect()
    assert view(bench)["link_up"]
    assert heard(bench) == [False, False, False], "there is contact, but nobody spoke yet"
    bench.mute.clear()
    bench.live(61.0)
    assert heard(bench) == [True, True, True]


def test_before_the_first_word_of_a_node_its_valve_is_not_called_closed() -> None:
    bench = garden_bench(ready=False)
    assert south(bench)["valve"] == "told_to_close"


def test_the_litres_are_those_that_were_credited() -> None:
    bench = garden_bench()
    bench.dry_out(0.45, "south")
    bench.live(3600.0)
    seen = view(bench)
    assert seen["waterings"] == 1
    assert seen["litres"] == pytest.approx(bench.litres["south"], abs=0.3)
    assert seen["beds"]["south"]["last_watering"]["litres"] == pytest.approx(
        seen["litres"], abs=0.1
    )
    assert seen["beds"]["wall"]["last_watering"] is None


def test_the_next_watering_lies_ahead_and_in_order() -> None:
    bench = garden_bench()
    bench.dry_out(0.25)
    bench.live(700.0, tick_s=20.0)
    window = south(bench)["next_watering"]
    assert view(bench)["at"] <= window["from"] <= window["to"]
    assert window["or_later"] is False


def test_a_window_that_ends_with_the_look_ahead_is_told_as_open(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Looked at three nights only, a wet bed has drunk in some of its lives."""
    bench = garden_bench()
    bench.dry_out(0.25)
    bench.live(700.0, tick_s=20.0)
    closed = south(bench)["next_watering"]
    monkeypatch.setattr(outlook, "NIGHTS_MOST", 3)
    window = south(bench)["next_watering"]
    assert window["or_later"] is True
    assert window["from"] <= window["to"] <= closed["to"]


def test_the_night_of_its_usual_use_is_the_one_that_would_change_names() -> None:
    bench = garden_bench()
    bench.dry_out(0.15)
    bench.live(700.0, tick_s=20.0)
    bed = south(bench)
    told = next(one for one in bed["would_change"] if one["code"] == "rain_falls")
    zone = bench.engine.run.garden.garden.zone
    night = datetime.fromisoformat(bed["usual_night"]["from"]).astimezone(zone)
    assert f"By its usual use it drinks next {night:%A};" in told["text"]
    assert bed["usual_night"]["to"] < bed["next_watering"]["to"]  # rain as usual may put it off
    drinks_d = (night.timestamp() - bench.engine.run.state.at_utc_s) / 86_400.0
    left_frac = bed["thirst_line_frac"] - bed["depletion_frac"]
    assert drinks_d == pytest.approx(left_frac / bed["day_use_frac"], abs=1.5)


def test_the_line_that_is_shown_is_the_one_that_decides() -> None:
    bench = garden_bench()
    bench.dry_out(0.35)
    bench.live(700.0, tick_s=20.0)
    before = south(bench)
    assert (before["line_drawn_in"], before["state"]) == (None, "drying")
    for name in before["probes"]:
        bench.engine.run.state.probes[name].trust = "half"
    after = south(bench)
    assert after["line_drawn_in"] == "drawn in by 8 points: a probe is in doubt"
    assert after["thirst_line_frac"] == pytest.approx(before["thirst_line_frac"] - 0.08)
    run = bench.engine.run
    decided = decide(view_of(run, "south", window_now(run)), sky_of(run), Rules(in_hours=True))
    assert after["thirst_line_frac"] == pytest.approx(decided.numbers["thirst_line_frac"])
    assert after["state"] == "due"  # 35 % are past it
