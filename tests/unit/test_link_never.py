"""B1: a broker that is not there at the start is an alarm within minutes, and ends with contact."""

from __future__ import annotations

from controller.effects import Note
from controller.engine import Engine
from controller.events import LinkUp, Started, Tick
from tests.engine_garden import START_UTC_S, small_garden


def test_a_broker_that_was_never_reached_is_an_alarm_within_three_minutes() -> None:
    engine = Engine(small_garden())
    engine.step(Started(at_utc_s=START_UTC_S, mono_s=0.0, trusted_s=0.0, stored_epoch=0))
    for second in range(5, 181, 5):
        engine.step(Tick(at_utc_s=START_UTC_S + second, mono_s=float(second)))
    assert "link_lost" in engine.state.alerts
    effects = engine.step(LinkUp(at_utc_s=START_UTC_S + 200.0, mono_s=200.0))
    assert "link_lost" not in engine.state.alerts
    texts = [one.text for one in effects if isinstance(one, Note)]
    assert "Over: no contact with the broker, so nothing is watered." in texts


def test_a_broker_that_is_there_is_none() -> None:
    engine = Engine(small_garden())
    engine.step(Started(at_utc_s=START_UTC_S, mono_s=0.0, trusted_s=0.0, stored_epoch=0))
    engine.step(LinkUp(at_utc_s=START_UTC_S + 1.0, mono_s=1.0))
    for second in range(5, 181, 5):
        engine.step(Tick(at_utc_s=START_UTC_S + second, mono_s=float(second)))
    assert "link_lost" not in engine.state.alerts
