"""Whatever a network does to the order and number of a probe's words, the decisions are the same.

P10 of the hazards: doubled messages change nothing at all; shuffled ones are refused by their
numbers, and what is left leads to the same decisions.
"""

from __future__ import annotations

import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.state import ProbeState
from tests.engine_garden import DAY_S
from tests.probe_hands import STEP_S, A, B, Hands

DAYS = 3
Message = tuple[str, float, dict[str, Any]]


def trace(dry_per_day: float) -> list[Message]:
    """Three days of both probes that dry towards the line and past it."""
    told: list[Message] = []
    for n in range(int(DAYS * DAY_S / STEP_S)):
        dry = dry_per_day * n * STEP_S / DAY_S
        told.append((A, 0.262 - dry, {"seq": 2 * n, "boot": "k"}))
        told.append((B, 0.268 - 0.7 * dry, {"seq": 2 * n + 1, "boot": "k"}))
    return told


def lived(messages: list[list[Message]]) -> Hands:
    """An engine that hears a list of messages at each step of ten minutes."""
    hands = Hands()
    for batch in messages:
        for name, value, more in batch:
            hands.tell(name, value, **more)
        hands.live(STEP_S / 3600.0)
    return hands


def decided(hands: Hands) -> list[tuple[str, str]]:
    return [(note.bed or "", note.code) for note in hands.notes("decision")]


def memory(probe: ProbeState) -> tuple[object, ...]:
    return (probe.theta_m3_m3, probe.hours_m3_m3, probe.window_m3_m3, probe.trust)


@pytest.mark.hazard("P10")
@settings(max_examples=12, deadline=None)
@given(st.floats(0.008, 0.02), st.integers(0, 2**32 - 1))
def test_doubled_messages_change_nothing(dry_per_day: float, seed: int) -> None:
    lot = random.Random(seed)
    told = trace(dry_per_day)
    steps = [told[at : at + 2] for at in range(0, len(told), 2)]
    doubled: list[list[Message]] = []
    for n, batch in enumerate(steps):
        back = steps[max(0, n - lot.randrange(20))] if lot.random() < 0.3 else []
        doubled.append([*batch, *(one for one in batch if lot.random() < 0.5), *back])
    once, twice = lived(steps), lived(doubled)
    assert twice.effects == once.effects
    assert twice.engine.state.water == once.engine.state.water
    for name in (A, B):
        assert memory(twice.probe(name)) == memory(once.probe(name))


@pytest.mark.hazard("P10")
@settings(max_examples=12, deadline=None)
@given(st.floats(0.008, 0.02), st.integers(0, 2**32 - 1))
def test_shuffled_messages_lead_to_the_same_decisions(dry_per_day: float, seed: int) -> None:
    lot = random.Random(seed)
    told = trace(dry_per_day)
    late: list[list[Message]] = [[] for _ in range(len(told) // 2)]
    for n, message in enumerate(told):
        step = n // 2
        late[min(len(late) - 1, step + (lot.randrange(3) if lot.random() < 0.2 else 0))] += [
            message
        ]
    for batch in late:
        lot.shuffle(batch)
    steps = [told[at : at + 2] for at in range(0, len(told), 2)]
    ordered, shuffled = lived(steps), lived(late)
    assert decided(shuffled) == decided(ordered)
    assert shuffled.doses() == ordered.doses()
    assert sum(shuffled.probe(name).counts.get("out_of_order", 0) for name in (A, B)) > 5
    dry = [hands.engine.state.water["south"].depletion_mm for hands in (ordered, shuffled)]
    assert abs(dry[0] - dry[1]) < 0.5
