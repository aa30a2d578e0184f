"""A mast that falls silent: it sees neither frost nor storm any more, and somebody is told."""

from __future__ import annotations

from typing import Any

import pytest

from api.desk import FakeDesk
from api.page import front
from controller.alarming.codes import ALERTS, AlertCode, advice
from controller.events import GardenChanged, WeatherReading
from controller.garden import Garden
from controller.state import STATE_JSON
from controller.view import picture
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

HOUR_S = 3600.0
LIMIT_S = 2 * HOUR_S  # from its last word on
LATE_S = HOUR_S  # outside the hours beds are judged once an hour


def with_masts(*masts: str) -> Garden:
    told: dict[str, Any] = small_garden().model_dump(mode="json", exclude_none=True)
    return Garden.model_validate({**told, "weather": {name: {} for name in masts}})


def speak(bench: Bench, mast: str = "roof") -> None:
    bench.step(WeatherReading(**bench.times(), mast=mast, temp_c=18.0))


def silent(bench: Bench) -> set[str]:
    """The alerts of masts that stand, by their ids."""
    return {key for key in bench.engine.state.alerts if key.startswith("mast_silent")}


@pytest.mark.hazard("E1", "E2")
def test_a_mast_that_falls_silent_is_called_out_and_its_next_word_ends_it() -> None:
    bench = Bench(with_masts("roof"))
    for _ in range(12):
        speak(bench)
        bench.live(HOUR_S, tick_s=60.0)
        assert not silent(bench), "it speaks each hour"
    bench.live(LIMIT_S - HOUR_S - 60.0, tick_s=60.0)
    assert not silent(bench), "its last word still counts"
    bench.live(60.0 + LATE_S, tick_s=60.0)
    assert silent(bench) == {"mast_silent-roof"}
    text = bench.engine.state.alerts["mast_silent-roof"].text
    assert "roof" in text
    assert "power" in text
    assert "power" in advice("mast_silent")
    speak(bench)
    assert not silent(bench)
    assert any(note.code == "mast_silent_ended" for note in bench.notes("alert"))


@pytest.mark.hazard("E1", "E2")
def test_the_page_says_which_mast_and_what_to_do() -> None:
    bench = Bench(with_masts("roof"))
    bench.live(LIMIT_S + LATE_S, tick_s=60.0)
    told = [one for one in picture(bench.engine.run)["alerts"] if one["code"] == "mast_silent"]
    desk = FakeDesk()
    desk.set(alerts=told)
    (notice,) = front.context(desk, "10")["notices"]
    assert "The mast roof has said nothing for two hours" in notice.text
    assert notice.todo == advice("mast_silent")
    assert not notice.person_needed


@pytest.mark.hazard("E1", "E2")
def test_a_mast_that_never_spoke_is_called_out_too() -> None:
    bench = Bench(with_masts("roof"))
    bench.live(LIMIT_S + LATE_S, tick_s=60.0)
    assert silent(bench) == {"mast_silent-roof"}


@pytest.mark.hazard("E1", "E2")
def test_a_garden_without_a_mast_has_no_such_alarm() -> None:
    bench = Bench(small_garden())
    bench.live(5 * HOUR_S, tick_s=60.0)
    assert not silent(bench)


@pytest.mark.hazard("E1", "E2")
def test_each_mast_is_called_out_by_itself_and_one_taken_out_of_the_file_is_not() -> None:
    bench = Bench(with_masts("roof", "field"))
    for _ in range(4):
        speak(bench, "field")
        bench.live(HOUR_S, tick_s=60.0)
    assert silent(bench) == {"mast_silent-roof"}
    text = with_masts("field").model_dump_json(exclude_none=True)
    speak(bench, "field")
    bench.step(GardenChanged(**bench.times(), garden_json=text))
    bench.live(HOUR_S, tick_s=60.0)
    assert not silent(bench)


@pytest.mark.hazard("E1", "E2", "B1")
def test_a_lost_link_is_no_silence_of_the_mast() -> None:
    bench = Bench(with_masts("roof"))
    speak(bench)
    bench.disconnect()
    bench.live(5 * HOUR_S, tick_s=60.0)
    assert bench.alert_codes() == {"link_lost"}
    bench.connect()
    bench.live(HOUR_S, tick_s=60.0)
    assert not silent(bench), "it has its two hours from the contact on"
    bench.live(LIMIT_S, tick_s=60.0)
    assert silent(bench)


@pytest.mark.hazard("E1", "E2")
def test_a_silence_outlives_a_restart_until_the_mast_speaks() -> None:
    bench = Bench(with_masts("roof"))
    bench.live(LIMIT_S + LATE_S, tick_s=60.0)
    since_s = bench.engine.state.alerts["mast_silent-roof"].since_utc_s
    bench.restart(60.0)
    bench.connect()
    bench.live(HOUR_S, tick_s=60.0)
    assert bench.engine.state.alerts["mast_silent-roof"].since_utc_s == since_s
    speak(bench)
    assert not silent(bench)


def test_a_state_kept_before_masts_were_watched_is_taken() -> None:
    bench = Bench(with_masts("roof"))
    told = STATE_JSON.dump_python(bench.engine.state, mode="json")
    del told["sky"]["masts_mono_s"]
    assert STATE_JSON.validate_python(told).sky.masts_mono_s == {}


def test_it_is_told_again_each_day_and_waits_for_the_morning() -> None:
    rule = ALERTS[AlertCode.MAST_SILENT]
    assert (rule.reminds, rule.at_night.value) == (True, "waits")
