"""An alert that comes and goes all the time is told seldom, and what stands is what stands."""

from __future__ import annotations

import pytest

from controller.alarming.seldom import BACK_S, DAY_MOST, ENDED_MOST, LIST_S
from controller.effects import Alert, Alerts, Effect, Note
from controller.engine import Engine
from controller.events import ProbeReading
from controller.sensing.flags import Flag
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

SUSPECT = "probe_suspect-south-south-20"


@pytest.fixture
def bench() -> Bench:
    garden = small_garden(beds=("south",), hours="22:00-sunrise")
    probe = garden.probes["south-20"].model_copy(update={"battery_least_v": 3.3})
    bench = Bench(garden.model_copy(update={"probes": {**garden.probes, "south-20": probe}}))
    bench.dry_out(0.2)
    bench.live(60.0)
    return bench


def tell(bench: Bench, battery_v: float) -> None:
    times = bench.times()
    bench.step(ProbeReading(**times, probe="south-20", value=0.25, battery_v=battery_v))


def rows(bench: Bench) -> list[Note]:
    return [note for note in bench.of(Note) if note.what == "alert"]


def standing(bench: Bench) -> tuple[Alert, ...]:
    """As the topic was told last."""
    last: Alerts = bench.of(Alerts)[-1]
    return last.standing


def flap(bench: Bench, seconds: int, *, words: int) -> int:
    """A word a second, now a flat battery and now so many fresh ones; how often the flag fell."""
    fell = 0
    for second in range(seconds):
        stood = SUSPECT in bench.engine.state.alerts
        tell(bench, 2.5 if second % (words + 1) == 0 else 4.2)
        fell += stood and SUSPECT not in bench.engine.state.alerts
        bench.advance(bench.now_s + 1.0)
        if second % 5 == 0:
            bench.tick(0.0)
    return fell


@pytest.mark.hazard("P12")
@pytest.mark.parametrize("words", [1, 3])
def test_a_flag_that_flaps_each_second_leaves_a_few_rows_and_lists(
    bench: Bench, words: int
) -> None:
    tell(bench, 4.2)
    told, lists = len(rows(bench)), len(bench.of(Alerts))
    fell = flap(bench, 3600, words=words)
    assert fell == (900 if words == 3 else 0), "it truly comes and goes"
    assert len(rows(bench)) - told <= 2
    assert len(bench.of(Alerts)) - lists <= 2 + 3600 / LIST_S


def test_a_flag_that_flaps_slowly_has_so_many_rows_a_day_at_most(bench: Bench) -> None:
    """Each time apart by more than what counts as the same one."""
    tell(bench, 4.2)
    before = len(rows(bench))
    for _ in range(2 * 50):
        tell(bench, 2.5)
        bench.live(60.0, tick_s=60.0)
        for _ in range(3):
            tell(bench, 4.2)
        bench.live(BACK_S + 60.0, tick_s=60.0)
    suspect = [note for note in rows(bench)[before:] if note.code.startswith("probe_suspect")]
    days = bench.now_s // 86_400.0 + 1.0
    assert 2 * DAY_MOST <= len(suspect) <= 2 * DAY_MOST * days


def test_what_stands_is_in_the_list_at_once_and_when_it_is_back_within_a_minute(
    bench: Bench,
) -> None:
    tell(bench, 4.2)
    tell(bench, 2.5)
    assert [alert.id for alert in standing(bench)] == [SUSPECT]
    for _ in range(3):
        tell(bench, 4.2)
    assert standing(bench) == ()
    tell(bench, 2.5)
    assert SUSPECT in bench.engine.state.alerts, "page and decisions know at once"
    bench.live(LIST_S + 5.0)
    assert [alert.id for alert in standing(bench)] == [SUSPECT]


def test_an_alert_that_is_back_to_stay_has_its_row_after_ten_minutes(bench: Bench) -> None:
    tell(bench, 4.2)
    before = len(rows(bench))
    for volts in (2.5, 4.2, 4.2, 4.2, 2.5):
        tell(bench, volts)
    assert [note.code for note in rows(bench)[before:]] == ["probe_suspect", "probe_suspect_ended"]
    bench.live(BACK_S + 30.0)
    assert [note.code for note in rows(bench)[before + 2 :]].count("probe_suspect") == 1
    for _ in range(3):
        tell(bench, 4.2)
    assert rows(bench)[-1].code == "probe_suspect_ended"


def test_other_words_are_news(bench: Bench) -> None:
    run = bench.engine.run
    for text in ("one", "two", "one"):
        run.raise_alert("supply_lost", text)
        run.end_alert("supply_lost")
    run.take_effects()
    told = run.state.alerts_told
    assert told.day_rows["supply_lost"] == 2
    for number in range(ENDED_MOST + 10):
        run.raise_alert("supply_lost", f"{number} L")
        run.end_alert("supply_lost")
    assert len(told.ended_s) == ENDED_MOST
    assert told.day_rows["supply_lost"] == DAY_MOST


def test_a_flat_battery_is_over_after_three_words_of_a_fresh_one(bench: Bench) -> None:
    tell(bench, 4.2)
    tell(bench, 2.5)
    flags = bench.engine.state.probes["south-20"].flags
    for volts in (4.2, 4.2, 2.5, 4.2, 4.2):
        tell(bench, volts)
        assert Flag.BROWN_OUT in flags
    tell(bench, 4.2)
    assert Flag.BROWN_OUT not in flags


def test_the_same_events_give_the_same_rows_and_lists(bench: Bench) -> None:
    tell(bench, 4.2)
    flap(bench, 200, words=3)
    bench.live(BACK_S + 60.0)
    again = Engine(bench.garden)
    effects = [effect for event in bench.events for effect in again.step(event)]
    assert [one for one in effects if is_of_alerts(one)] == [
        one for _, one in bench.log if is_of_alerts(one)
    ]
    assert Engine.load(again.dump()).state.alerts_told == bench.engine.state.alerts_told


def is_of_alerts(effect: Effect) -> bool:
    return isinstance(effect, Alerts) or (isinstance(effect, Note) and effect.what == "alert")


def test_what_needs_a_person_has_its_row_and_list_each_time(bench: Bench) -> None:
    run = bench.engine.run
    for _ in range(DAY_MOST + 6):
        run.raise_alert("valve_silent", "x", bed="south", person=True)
        run.end_alert("valve_silent", "south")
    run.take_effects()
    before = len(rows(bench))
    run.raise_alert("valve_silent", "x", bed="south", person=True)
    said = [one for one in run.take_effects() if is_of_alerts(one)]
    assert [type(one) for one in said] == [Note, Alerts]
    assert len(rows(bench)) == before  # these were taken by hand


def test_beyond_a_days_rows_one_that_stands_has_its_row_after_ten_minutes(bench: Bench) -> None:
    run = bench.engine.run
    for _ in range(DAY_MOST):
        run.raise_alert("valve_silent", "x", bed="south", valve="south")
        run.end_alert("valve_silent", "south", "south")
        bench.live(BACK_S + 60.0, tick_s=60.0)
    before = len(rows(bench))
    run.raise_alert("valve_silent", "x", bed="south", valve="south")
    bench.live(60.0)
    assert len(rows(bench)) == before
    bench.live(BACK_S, tick_s=60.0)
    run.end_alert("valve_silent", "south", "south")
    bench.live(60.0)
    codes = [note.code for note in rows(bench)[before:]]
    assert codes == ["valve_silent", "valve_silent_ended"]
