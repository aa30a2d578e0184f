"""Ticks may come doubled, denser or thinner: the same nights, decisions and water."""

from __future__ import annotations

from datetime import date

import pytest

from controller.events import Event, Tick
from controller.garden import Garden, load_garden
from sim.examples import find_garden
from sim.garden_world import GardenWorld
from sim.replay import EngineReplay, Replay, prepare

FIRST, LAST = date(2025, 7, 12), date(2025, 7, 18)
DEPLETION = {"south": 0.36, "wall": 0.30, "low": 0.33, "hedge": 0.25}
THIN_S = 1800.0
DENSE_S = 200.0


class Ticked(EngineReplay):
    """A replay whose ticks can be bent."""

    dense = False

    def _next_s(self) -> float:
        due_s = super()._next_s()
        return min(due_s, self.now_s + DENSE_S) if self.dense else due_s


def lived(replay: Replay, how: str) -> Ticked:
    world = GardenWorld(
        replay.garden, replay.season, replay.span.from_utc_s, sure=True, depletion_frac=DEPLETION
    )
    live = Ticked(replay.garden, world, replay.span)
    live.dense = how == "denser"
    step = live.hands.step

    def bent(event: Event) -> None:
        idle = not live.hands.any_open and not live.engine.state.waterings
        if how == "thinner" and isinstance(event, Tick) and idle and event.mono_s % THIN_S:
            return
        step(event)
        if how == "doubled" and isinstance(event, Tick):
            step(event)

    setattr(live.hands, "step", bent)  # noqa: B010 - the instance's own, for this trial
    live.go(replay.span.to_utc_s)
    return live


@pytest.fixture(scope="module")
def replay() -> Replay:
    garden: Garden = load_garden(find_garden("hollin-lane"))
    return prepare(garden, "invented-dry", first=FIRST, last=LAST, sure=True)


@pytest.fixture(scope="module")
def plain(replay: Replay) -> Ticked:
    live = lived(replay, "as-they-are")
    assert sum(len(one.waterings_utc_s) for one in live.account.beds.values()) >= 4
    return live


def decisions(live: Ticked, bed: str) -> list[tuple[str, dict[str, float]]]:
    return [
        (told.note.code, told.note.numbers)
        for told in live.hands.notes
        if told.note.what == "decision" and told.note.bed == bed
    ]


def starts(live: Ticked) -> dict[str, list[float]]:
    return {bed: one.waterings_utc_s for bed, one in live.account.beds.items()}


def test_denser_ticks_change_nothing_at_all(replay: Replay, plain: Ticked) -> None:
    bent = lived(replay, "denser")
    assert starts(bent) == starts(plain)
    settled_s = replay.span.from_utc_s + 3600.0  # a quiet start ends at the first tick after it
    notes = [
        [told for told in live.hands.notes if told.at_utc_s >= settled_s] for live in (plain, bent)
    ]
    assert len(notes[0]) > 100
    assert notes[0] == notes[1]


@pytest.mark.parametrize(
    ("how", "shift_s"),
    [pytest.param("doubled", 60.0, id="doubled"), pytest.param("thinner", THIN_S, id="thinner")],
)
def test_other_ticks_decide_the_same_within_a_tick(
    replay: Replay, plain: Ticked, how: str, shift_s: float
) -> None:
    bent = lived(replay, how)
    for bed, times in starts(plain).items():
        assert starts(bent)[bed] == pytest.approx(times, abs=shift_s), bed
        usual, other = decisions(plain, bed), decisions(bent, bed)
        assert [code for code, _ in other] == [code for code, _ in usual], bed
        for (_, expected), (_, found) in zip(usual, other, strict=True):
            assert found == pytest.approx(expected, rel=0.03, abs=0.01)
        litres = plain.world.truth.litres(bed)
        assert bent.world.truth.litres(bed) == pytest.approx(litres, rel=0.02)
