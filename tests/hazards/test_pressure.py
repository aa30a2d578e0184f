"""The pressure that a meter's node tells: too much locks, too little is the supply (E4)."""

from __future__ import annotations

import json
from typing import Any

import pytest

from controller.effects import Effect
from controller.events import MeterReading, PressureReading
from controller.garden import Garden
from controller.inbox import Inbox
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

HOUR_S = 3600.0
USUAL_KPA = 150.0
WORD_S = 5.0  # between two words of a meter while water flows


def plot(*beds: str, usual_kpa: float | None = USUAL_KPA) -> Garden:
    """Beds behind a master and a meter."""
    told: dict[str, Any] = small_garden(
        beds=beds or ("south",), master=True, meter=True
    ).model_dump(mode="json", exclude_none=True)
    if usual_kpa is not None:
        told["supply"]["pressure_kpa"] = usual_kpa
    return Garden.model_validate(told)


class Gauged(Bench):
    """A bench whose meter's node tells the pressure too."""

    running_kpa = resting_kpa = USUAL_KPA
    told = True

    def tick(self, dt_s: float = WORD_S) -> list[Effect]:
        effects = super().tick(dt_s)
        if self.told and self.power:
            kpa = self.running_kpa if self.open_beds() else self.resting_kpa
            self.say(kpa)
        return effects

    def say(self, kpa: float, *, boot: str = "m0", up_s: float | None = None) -> None:
        up_s = self.now_s if up_s is None else up_s
        told = {"meter": "main", "pressure_kpa": kpa, "up_s": up_s, "boot": boot}
        self.step(PressureReading(**self.times(), **told))


def drinking(bench: Gauged, litres: float = 40.0) -> Gauged:
    """A watering by hand that runs since two and a half minutes."""
    answer = bench.order("water", "south", litres=litres)
    assert answer is None or answer.status == "accepted"
    bench.live(150.0)
    assert bench.open_beds() == ["south"]
    return bench


@pytest.mark.hazard("E4")
@pytest.mark.parametrize(
    ("kpa", "closes"), [(1.49 * USUAL_KPA, False), (1.51 * USUAL_KPA, True), (900.0, True)]
)
def test_too_much_pressure_closes_everything_until_a_person_has_looked(
    kpa: float, closes: bool
) -> None:
    bench = drinking(Gauged(plot()))
    bench.running_kpa = bench.resting_kpa = kpa
    bench.live(2 * WORD_S)
    assert ("pressure_high" in bench.alert_codes()) is closes
    bench.live(30.0)
    assert any(node.is_open for node in bench.nodes.values()) is not closes
    if not closes:
        return
    bench.resting_kpa = bench.running_kpa = USUAL_KPA
    bench.live(HOUR_S)
    answer = bench.order("water", "south", litres=10.0)
    assert answer is not None
    assert answer.status == "refused", "sound again, but nobody has looked"
    bench.restart(30.0)
    bench.connect()
    bench.live(HOUR_S)
    assert "pressure_high" in bench.alert_codes()
    bench.order("clear", alert="pressure_high", why="new regulator")
    bench.dry_out(0.6)
    bench.live(HOUR_S)
    assert bench.engine.state.waterings_started > 0


@pytest.mark.hazard("E4")
def test_it_is_told_with_every_valve_closed_too_and_again_while_it_lasts() -> None:
    bench = Gauged(plot())
    bench.resting_kpa = 300.0
    bench.live(60.0)
    assert "pressure_high" in bench.alert_codes()
    bench.order("clear", alert="pressure_high", why="let off")
    bench.live(60.0)
    assert "pressure_high" in bench.alert_codes(), "it was not let off"


@pytest.mark.hazard("E4")
def test_a_surge_of_one_word_and_a_word_said_twice_close_nothing() -> None:
    bench = drinking(Gauged(plot()))
    for _ in range(4):
        bench.told = False
        bench.tick()
        up_s = bench.now_s
        bench.say(900.0, up_s=up_s)
        bench.say(900.0, up_s=up_s)
        bench.told = True
        bench.tick()
    assert bench.open_beds() == ["south"]
    assert not bench.alert_codes()


@pytest.mark.hazard("E4", "M6")
@pytest.mark.parametrize(("kpa", "ends"), [(0.51 * USUAL_KPA, False), (0.49 * USUAL_KPA, True)])
def test_too_little_while_water_runs_is_the_supply_and_is_tried_again(
    kpa: float, ends: bool
) -> None:
    bench = drinking(Gauged(plot("south", "wall")))
    bench.running_kpa = kpa
    bench.live(4 * WORD_S)
    assert (not bench.open_beds()) is ends
    assert ("supply_lost" in bench.alert_codes()) is ends
    if not ends:
        return
    ended_s = bench.now_s
    bench.dry_out(0.6)
    bench.live(1700.0)
    assert not [at_s for at_s in bench.leases("wall") if at_s > ended_s], "it rests half an hour"
    bench.live(3 * HOUR_S)
    tries = [at_s for at_s, _, edge in bench.edges if edge == "open" and at_s > ended_s]
    assert tries, "it is tried again"
    assert "supply_lost" in bench.alert_codes(), "water that comes without pressure ends nothing"
    bench.running_kpa = USUAL_KPA
    bench.live(4 * HOUR_S)
    assert "supply_lost" not in bench.alert_codes()
    assert min(bench.litres.values()) > 10.0


@pytest.mark.hazard("E4")
def test_no_pressure_behind_closed_valves_or_in_lines_that_fill_is_no_fault() -> None:
    bench = Gauged(plot())
    bench.resting_kpa = 0.0  # the line bleeds out through its emitters
    bench.live(HOUR_S)
    bench.running_kpa = 20.0
    bench.order("water", "south", litres=40.0)
    bench.live(55.0)
    bench.running_kpa = USUAL_KPA
    bench.live(600.0)
    assert not bench.alert_codes() & {"pressure_high", "supply_lost"}
    assert bench.litres["south"] > 10.0


@pytest.mark.hazard("E4")
@pytest.mark.parametrize(
    ("usual_kpa", "meter"),
    [
        pytest.param(None, "main", id="the-file-has-nothing-to-hold-it-against"),
        pytest.param(USUAL_KPA, "other", id="another-meter-in-the-garden"),
    ],
)
def test_a_pressure_that_nobody_asked_for_moves_nothing(
    usual_kpa: float | None, meter: str
) -> None:
    bench = Gauged(plot(usual_kpa=usual_kpa))
    bench.told = False
    drinking(bench)
    for n in range(6):
        told = {"meter": meter, "pressure_kpa": 900.0, "up_s": 1e4 + n, "boot": "a"}
        bench.step(PressureReading(**bench.times(), **told))
    assert bench.open_beds() == ["south"]
    assert not bench.alert_codes()


# -- over the wire


def heard(garden: Garden, **told: object) -> list[Any]:
    payload = json.dumps({"litres_total": 12.5, "up_s": 60.0, "boot": "a", **told}).encode()
    topic = garden.topic("meter", "main")
    inbox = Inbox(garden)
    return inbox.hear(topic, payload, retained=False, at_utc_s=1.0, mono_s=2.0)


@pytest.mark.hazard("E4")
def test_the_meters_message_may_carry_it() -> None:
    told = heard(plot(), pressure_kpa=152.5)
    assert [type(one) for one in told] == [MeterReading, PressureReading]
    assert (told[1].pressure_kpa, told[1].meter, told[1].up_s) == (152.5, "main", 60.0)
    assert [type(one) for one in heard(plot())] == [MeterReading]
    assert [type(one) for one in heard(plot(usual_kpa=None), pressure_kpa=152.5)] == [MeterReading]


@pytest.mark.hazard("E4", "B7")
@pytest.mark.parametrize("value", ["150", True, -101.0, 5001.0, [150], {"kpa": 150}, 1e300])
def test_a_broken_sensor_takes_no_total_with_it(value: object) -> None:
    assert [type(one) for one in heard(plot(), pressure_kpa=value)] == [MeterReading]
