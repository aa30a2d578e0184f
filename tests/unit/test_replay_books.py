"""In a sure world without faults the engine's books agree with the water that truly ran."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from controller.effects import Effect, Reserve, Settle
from controller.events import Event
from controller.garden import load_garden
from sim.examples import find_garden
from sim.replay import EngineReplay, run_policy
from sim.season_run import prepare

FIRST, LAST = date(2025, 7, 1), date(2025, 7, 24)


def test_credited_litres_are_the_worlds_and_charged_ones_never_less() -> None:
    garden = load_garden(find_garden("hollin-lane"))
    replay = prepare(garden, "invented-dry", first=FIRST, last=LAST, sure=True)
    live = EngineReplay(replay.garden, replay.world(), replay.span)
    step = live.engine.step
    beds: dict[str, str] = {}
    settled: list[Settle] = []

    def watched(event: Event) -> list[Effect]:
        effects = step(event)
        beds.update((one.dose, one.bed) for one in effects if isinstance(one, Reserve))
        settled.extend(one for one in effects if isinstance(one, Settle))
        return effects

    setattr(live.engine, "step", watched)  # noqa: B010 - the instance's own, for this trial
    live.go(replay.span.to_utc_s - 12.0 * 3600.0)  # noon: the night is over
    assert not live.engine.state.waterings  # nothing is on its way at the end
    assert len(settled) > 40
    for bed in garden.beds:
        true_l = live.world.truth.litres(bed)
        mine = [one for one in settled if beds[one.dose] == bed]
        assert true_l > 100.0
        assert sum(one.credited_l for one in mine) == pytest.approx(true_l, rel=0.01)
        assert sum(one.charged_l for one in mine) >= true_l


def test_a_pulse_that_ends_with_its_lease_beside_another_bed_is_no_burst() -> None:
    # Emitters that give less than they say: pulses end by time, so that the node closes by itself
    # and nobody tells the valve to move. What the two took together was held against the one left.
    garden = load_garden(find_garden("hollin-lane"))
    first = date(2015, 5, 9)
    told = prepare(garden, "seattle-2015", first=first, last=first + timedelta(days=1), seed=3)
    run = run_policy(told, "thirstline")
    assert [alert["code"] for alert in run.alerts if alert["code"] == "burst"] == []
    assert [note.note.code for note in run.notes if note.note.what == "watering"] != []
    assert {note.note.code for note in run.notes if note.note.what == "watering"} == {"done"}
