"""A pause that is forgotten, a rainstorm, a valve that nobody walked: each reaction shown."""

from __future__ import annotations

from typing import Any

import pytest

from controller.effects import Alert, Alerts, Lease, Note, Reserve, Settle
from controller.events import GardenChanged, Order, OrderKind, ProbeReading, WeatherReading
from controller.garden import Garden
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden
from tests.probe_hands import HOUR_S, A, B, Hands, drying, flat

PAUSED_D = 4.2


def order(hands: Hands, what: OrderKind, **more: Any) -> Order:
    """A person's order, now."""
    return Order(**hands.times(), order=f"o{hands.now_s}{what}", what=what, who="tester", **more)


@pytest.mark.hazard("H2")
@pytest.mark.parametrize("bed", [None, "south"], ids=["garden", "bed"])
def test_a_pause_of_four_days_is_called_out_each_day_and_stands_since_its_first(
    bed: str | None,
) -> None:
    bench = Bench(small_garden())
    begun_utc_s = bench.at_utc_s
    bench.order("pause", bed, until_utc_s=begun_utc_s + PAUSED_D * DAY_S, why="away")
    bench.live(4.1 * DAY_S, tick_s=600.0)
    called = [note for note in bench.notes("alert") if note.code == "paused"]
    assert len(called) == 5, "once as it began, then each day"
    assert "still paused" in called[1].text
    assert "another 3 days" in called[1].text
    standing: list[Alert] = [a for a in bench.of(Alerts)[-1].standing if a.code == "paused"]
    assert [alert.since_utc_s for alert in standing] == [begun_utc_s]
    bench.live(0.3 * DAY_S, tick_s=600.0)
    assert "paused" not in bench.alert_codes()


@pytest.mark.hazard("H2")
def test_a_pause_over_a_cleared_bed_is_not_called_again() -> None:
    garden = small_garden().model_dump(mode="json", exclude_none=True)
    garden["beds"]["south"]["cleared"] = "2026-07-10"
    bench = Bench(type(small_garden()).model_validate(garden))
    bench.order("pause", until_utc_s=bench.at_utc_s + PAUSED_D * DAY_S, why="over")
    bench.live(3.0 * DAY_S, tick_s=600.0)
    assert len([note for note in bench.notes("alert") if note.code == "paused"]) == 1


@pytest.mark.hazard("E1")
def test_while_a_storm_falls_a_dry_bed_is_not_watered() -> None:
    hands, sunny = Hands(), Hands()
    for one in (hands, sunny):
        one.step(order(one, OrderKind.PAUSE, until_utc_s=one.times()["at_utc_s"] + DAY_S))
        one.probes = {A: flat(0.205), B: flat(0.21)}
        one.live(1.0)
    for turn in range(30):  # five hours of 3 mm an hour
        hands.rain_mm += 0.5
        for one in (hands, sunny):
            one.live(1.0 / 6.0)
            if turn == 8:
                one.step(order(one, OrderKind.RESUME))
    assert sunny.doses() > 0, "the control run has to be watered"
    assert hands.doses() == 0
    assert "raining" in {note.code for note in hands.notes("decision")}


@pytest.mark.hazard("E1", "E3")
def test_a_soaked_bed_is_not_watered_by_itself_for_days() -> None:
    hands = Hands(south_20=drying(0.20), south_40=drying(0.21))
    hands.rain_mm += 1.0
    hands.step(order(hands, OrderKind.PAUSE, until_utc_s=hands.times()["at_utc_s"] + 6 * HOUR_S))
    hands.live(1.0)
    hands.rain_mm += 90.0
    hands.probes = {A: flat(0.285), B: flat(0.285)}
    hands.live(72.0)
    assert hands.doses() == 0
    assert hands.engine.state.beds["south"].said.code in {"wet", "drying", "outside_hours"}


@pytest.mark.hazard("V9")
def test_a_garden_that_was_not_walked_opens_nothing_whoever_asks() -> None:
    bench = Bench(small_garden(master=True), armed=False)
    bench.dry_out(0.9)
    bench.live(2 * HOUR_S)
    answer = bench.order("water", "south", litres=20.0)
    assert answer is not None
    assert (answer.status, answer.reason) == ("refused", "not_armed")
    assert bench.of(Lease) == []
    said: list[Note] = bench.notes("decision", "south")
    assert said[-1].code == "not_armed"


def frost_months(*span: str) -> Garden:
    """The small garden with months in which nothing opens."""
    told = small_garden().model_dump(mode="json", exclude_none=True)
    told["garden"]["frost_lock"] = span
    return Garden.model_validate(told)


@pytest.mark.hazard("E2")
@pytest.mark.parametrize(
    ("span", "opens"),
    [
        pytest.param(("07-01", "07-31"), False, id="within"),
        pytest.param(("11-01", "08-01"), False, id="over-new-year"),
        pytest.param(("11-01", "03-31"), True, id="another-season"),
    ],
)
def test_in_the_frost_months_nothing_opens_whoever_asks(span: tuple[str, str], opens: bool) -> None:
    bench = Bench(frost_months(*span))
    bench.dry_out(0.6)
    bench.live(HOUR_S)
    assert (bench.litres["south"] > 0.0) is opens
    assert ("frost" in bench.alert_codes()) is not opens
    if not opens:
        answer = bench.order("water", "south", litres=20.0)
        assert answer is not None
        assert (answer.status, answer.reason) == ("refused", "frost")


@pytest.mark.hazard("E2")
def test_a_night_of_frost_opens_nothing_and_the_thaw_does() -> None:
    hands = Hands(south_20=flat(0.205), south_40=flat(0.21))
    hands.temp_c = -3.0
    hands.live(12.0)
    assert hands.doses() == 0
    assert any(note.code == "frost" for note in hands.notes("alert"))
    hands.temp_c = 5.0
    hands.live(12.0)
    assert hands.doses() > 0


def soil_temp(bench: Bench, temp_c: float | None) -> None:
    """South's upper probe tells this temperature with its water content; the beds are judged."""
    told = ProbeReading(**bench.times(), probe="south-20", value=0.27, soil_temp_c=temp_c)
    bench.step(told)
    bench.live(HOUR_S, tick_s=60.0)


def how_answered(bench: Bench, bed: str) -> str:
    """How an order for a bed is answered; a watering that began is stopped."""
    answer = bench.order("water", bed, litres=20.0)
    assert answer is not None
    bench.live(60.0)
    bench.order("stop", bed)
    bench.live(700.0)
    return answer.reason


@pytest.mark.hazard("E2")
@pytest.mark.parametrize(
    ("temp_c", "held"), [(0.5, True), (-4.0, True), (1.9, True), (2.0, False), (-60.0, False)]
)
def test_frost_in_a_beds_soil_keeps_that_bed_shut(temp_c: float, held: bool) -> None:
    bench = Bench(small_garden(beds=("south", "wall")))
    soil_temp(bench, temp_c)
    assert ("frost-south" in bench.engine.state.alerts) is held
    assert "frost-wall" not in bench.engine.state.alerts
    assert how_answered(bench, "south") == ("frost" if held else "watering")
    assert how_answered(bench, "wall") == "watering"
    assert bench.engine.state.beds["south"].frosted is held
    soil_temp(bench, 5.0)
    assert "frost-south" not in bench.engine.state.alerts
    assert how_answered(bench, "south") == "watering"


@pytest.mark.hazard("E2")
def test_an_old_word_of_cold_soil_holds_nothing() -> None:
    bench = Bench(small_garden())
    soil_temp(bench, 0.5)
    bench.live(1.5 * HOUR_S, tick_s=60.0)
    assert how_answered(bench, "south") == "watering"


@pytest.mark.hazard("E2")
@pytest.mark.parametrize(("lowest_c", "held"), [(8.5, False), (7.5, True)])
def test_cold_soil_is_not_believed_after_a_day_of_warm_air(lowest_c: float, held: bool) -> None:
    bench = Bench(small_garden())
    for hour in range(26):
        told = WeatherReading(**bench.times(), mast="mast", temp_c=20.0 if hour % 2 else lowest_c)
        bench.step(told)
        bench.live(HOUR_S, tick_s=600.0)
    bench.step(WeatherReading(**bench.times(), mast="mast", temp_c=20.0))
    soil_temp(bench, 0.5)
    assert how_answered(bench, "south") == ("frost" if held else "watering")


# -- the garden file, changed while water runs


def drinking(*beds: str) -> Bench:
    """A bed by hand, open since two minutes."""
    bench = Bench(small_garden(beds=beds or ("south",), master=True))
    bench.order("water", "south", litres=40.0)
    bench.live(120.0)
    assert bench.open_beds() == ["south"]
    return bench


@pytest.mark.hazard("K2")
def test_a_refused_file_keeps_the_dose_and_the_caps_and_says_so() -> None:
    bench = drinking()
    before = bench.engine.run.garden
    bench.step(GardenChanged(**bench.times(), garden_json=None, cause="beds.south: no such key"))
    assert "garden_refused" in bench.alert_codes()
    assert bench.engine.run.garden is before
    bench.live(60.0)
    assert bench.open_beds() == ["south"]


@pytest.mark.hazard("K2")
def test_a_file_without_the_bed_that_drinks_closes_it_and_charges_it_whole() -> None:
    bench = drinking("south", "wall")
    smaller = small_garden(beds=("wall",), master=True)
    bench.step(GardenChanged(**bench.times(), garden_json=smaller.model_dump_json()))
    assert not bench.nodes["south"].is_open
    ended = bench.of(Settle)
    assert [(one.dose, one.charged_l) for one in ended] == [
        ("1-1", bench.of(Reserve)[0].reserved_l)
    ]


@pytest.mark.hazard("K2")
def test_a_tighter_cap_of_a_new_file_holds_for_the_next_pulse_of_a_running_dose() -> None:
    bench = drinking()
    tight = small_garden(master=True, bed_l_day=45.0, dose_l=45.0)
    bench.step(GardenChanged(**bench.times(), garden_json=tight.model_dump_json()))
    bench.live(3 * HOUR_S)
    answer = bench.order("water", "south", litres=40.0)
    assert answer is not None
    assert answer.reason in {"bed_cap", "dose_cap"}
