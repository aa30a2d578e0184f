"""Two plugs changed for each other, and a pair of probes that no soil can move so."""

from __future__ import annotations

import random

import pytest

from controller.sensing.care import EXCHANGED_DRY_H, EXCHANGED_M3_M3, exchanged, fell_m3_m3
from controller.sensing.flags import Flag
from tests.probe_hands import STEP_S, A, B, Hands, Told, garden

NORTH_A, NORTH_B = "north-20", "north-40"


def two_beds(south: float, north: float) -> Hands:
    def creeping(level: float) -> Told:
        return lambda now_s: level - 1e-8 * now_s

    return Hands(
        garden(beds=("south", "north")),
        south_20=creeping(south),
        south_40=creeping(0.25),
        north_20=creeping(north),
        north_40=creeping(0.26),
    )


def exchange(hands: Hands) -> None:
    hands.probes[A], hands.probes[NORTH_A] = hands.probes[NORTH_A], hands.probes[A]


@pytest.mark.parametrize(
    ("ours", "theirs", "found"),
    [
        ([0.28, 0.25, 0.22], [0.22, 0.25, 0.28], True),
        ([0.28, None, 0.22], [0.22, None, 0.28], True),
        ([0.28, None, None, None, 0.22], [0.22, None, None, None, 0.28], True),
        ([0.28, 0.25, 0.22], [0.22, 0.25, 0.295], False),  # not the other's old level
        ([0.28, 0.25, 0.22], [0.22, 0.22, 0.22], False),
        ([0.28, 0.25, 0.22], [], False),
        ([0.28, 0.25, None], [0.22, 0.25, 0.28], False),
    ],
)
def test_each_at_the_others_old_level(
    ours: list[float | None], theirs: list[float | None], found: bool
) -> None:
    assert exchanged(ours, theirs) is found


def test_a_fall_is_over_two_hours_or_over_a_silence() -> None:
    assert fell_m3_m3([0.28, 0.27, 0.25]) == pytest.approx(0.03)
    assert fell_m3_m3([0.28, None, None, 0.25]) == pytest.approx(0.03)
    assert fell_m3_m3([0.28, 0.25]) == fell_m3_m3([]) == 0.0


@pytest.mark.parametrize(("apart", "found"), [(0.05, True), (0.03, True), (0.008, False)])
def test_plugs_changed_for_each_other_hold_both_beds_within_hours(
    apart: float, found: bool
) -> None:
    hands = two_beds(0.26, 0.26 - apart)
    hands.live(6.0)
    exchange(hands)
    hands.live(4.0)
    for bed, probe in (("south", A), ("north", NORTH_A)):
        assert (f"probes_swapped-{bed}" in hands.engine.state.alerts) is found
        assert hands.stands(Flag.SWAPPED, probe) is found
    assert not hands.stands(Flag.SWAPPED, B)
    assert not hands.stands(Flag.SWAPPED, NORTH_B)


@pytest.mark.parametrize(("dry_h", "found"), [(9.0, True), (1.5, False)])
@pytest.mark.parametrize("bed", ["south", "north"])
def test_far_levels_are_exchanged_once_no_dose_can_still_move_them(
    bed: str, dry_h: float, found: bool
) -> None:
    hands = two_beds(0.26, 0.20)
    hands.live(6.0)
    hands.engine.state.water[bed].wetted_utc_s = hands.times()["at_utc_s"] - dry_h * 3600.0
    exchange(hands)
    hands.live(3.0)
    assert ("probes_swapped-south" in hands.engine.state.alerts) is found


@pytest.mark.parametrize("bed", ["south", "north"])
def test_beds_that_drink_in_turn_are_not_exchanged(bed: str) -> None:
    hands = two_beds(0.26, 0.22)
    hands.live(6.0)
    wetted_s = hands.times()["at_utc_s"] - (EXCHANGED_DRY_H - 6.0) * 3600.0
    hands.engine.state.water[bed].wetted_utc_s = wetted_s
    exchange(hands)
    hands.live(5.0)
    assert "probes_swapped-south" not in hands.engine.state.alerts


def test_two_that_only_move_are_not_exchanged() -> None:
    hands = two_beds(0.28, 0.22)
    hands.live(6.0)
    hands.probes[A] = lambda _: 0.28 - 2.0 * EXCHANGED_M3_M3
    hands.live(4.0)
    assert "probes_swapped-south" not in hands.engine.state.alerts


def wild(kind: str, seed: int) -> Told:
    lot = random.Random(seed)
    if kind == "flips":
        return lambda now_s: 0.34 if int(now_s // STEP_S) % 2 else 0.10
    if kind == "ramps":
        return lambda now_s: 0.34 - 0.24 * (now_s / 43_200.0 % 1.0)
    return lambda _: lot.uniform(0.10, 0.34)


@pytest.mark.parametrize("kind", ["flips", "ramps", "random"])
@pytest.mark.parametrize("watered", [False, True], ids=["dry", "just-watered"])
def test_a_wild_pair_is_put_out_within_a_day(kind: str, watered: bool) -> None:
    hands = Hands(south_20=lambda _: 0.25, south_40=lambda _: 0.26)
    hands.live(6.0)
    if watered:
        hands.engine.state.water["south"].wetted_utc_s = hands.times()["at_utc_s"]
    hands.probes = {A: wild(kind, 1), B: wild(kind, 2)}
    hands.live(24.0 if watered and kind == "ramps" else 12.0)
    for name in (A, B):
        assert hands.probe(name).trust == "out"
    assert "bed_blind-south" in hands.engine.state.alerts
