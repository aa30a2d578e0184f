"""Pulses: equal, within one opening, together what was wanted; the neediest drinks first."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.state import Pulse, Watering
from controller.watering.dosing import in_turn, nominal_s, split

PULSE_LONGEST_S = 2600.0


@pytest.mark.parametrize(
    ("litres", "open_most_s", "metered", "pulses", "pulse_s"),
    [
        # 6 L/min: 10 s a litre
        pytest.param(100.0, 5400.0, False, 1, 1000.0, id="one"),
        pytest.param(260.0, 5400.0, False, 1, 2600.0, id="on-the-limit"),
        pytest.param(260.1, 5400.0, False, 2, 1300.5, id="just-over"),
        pytest.param(100.0, 5400.0, True, 1, 1060.0, id="a-meter-gives-a-minute-more"),
        pytest.param(100.0, 400.0, False, 3, 1000.0 / 3.0, id="a-short-ceiling"),
        pytest.param(100.0, 400.0, True, 3, 1000.0 / 3.0 + 60.0, id="a-short-ceiling-with-meter"),
    ],
)
def test_a_watering_splits_into_equal_pulses(
    litres: float, open_most_s: float, metered: bool, pulses: int, pulse_s: float
) -> None:
    parts = split(litres, 6.0, open_most_s, metered=metered)
    assert parts.pulses == pulses
    assert parts.pulse_l == pytest.approx(litres / pulses)
    assert parts.pulse_s == pytest.approx(pulse_s)


@settings(derandomize=True, max_examples=300)
@given(
    litres=st.floats(1.0, 5000.0),
    flow_l_min=st.floats(0.1, 100.0),
    open_most_s=st.floats(120.0, 5400.0),
    metered=st.booleans(),
)
def test_pulses_give_the_whole_and_never_last_longer_than_one_opening(
    litres: float, flow_l_min: float, open_most_s: float, metered: bool
) -> None:
    parts = split(litres, flow_l_min, open_most_s, metered=metered)
    assert parts.pulses * parts.pulse_l == pytest.approx(litres)
    assert parts.pulse_s <= open_most_s + 1e-6
    grace_s = 60.0 if metered else 0.0
    assert parts.pulse_s - grace_s <= PULSE_LONGEST_S + 1e-6
    given_l = (parts.pulse_s - grace_s) * flow_l_min / 60.0
    assert given_l == pytest.approx(parts.pulse_l)


def test_nominal_time_is_litres_over_flow() -> None:
    assert nominal_s(20.0, 1.6) == pytest.approx(750.0)


def watering(bed: str, need: float, **change: object) -> Watering:
    fields: dict[str, object] = {
        "watering": f"1-{bed}",
        "bed": bed,
        "by": "policy",
        "want_l": 10.0,
        "pulses": 2,
        "pulse_l": 5.0,
        "pulse_s": 300.0,
        "need": need,
        "until_utc_s": None,
        "started_utc_s": 0.0,
    }
    return Watering(**{**fields, **change})  # type: ignore[arg-type]


def turn(*waterings: Watering, mono_s: float = 0.0) -> list[str]:
    return [one.bed for one in in_turn({one.bed: one for one in waterings}, mono_s)]


def test_the_neediest_drinks_first_and_equals_go_by_name() -> None:
    beds = watering("b", 0.5), watering("c", 0.9), watering("a", 0.5)
    assert turn(*beds) == ["c", "a", "b"]


def test_a_bed_that_soaks_drinks_or_is_done_has_no_turn() -> None:
    pulse = Pulse(dose="1", bed="b", valve="b", want_l=5.0, open_s=300.0, reserved_l=9.0)
    soaking = watering("a", 0.9, next_mono_s=100.0)
    assert turn(soaking, watering("b", 0.8, pulse=pulse), watering("c", 0.7, done=2)) == []
    assert turn(soaking, mono_s=99.9) == []
    assert turn(soaking, mono_s=100.0) == ["a"]


def test_the_soil_may_ask_for_more_pulses_but_for_no_sips() -> None:
    assert split(100.0, 6.0, 5400.0, metered=False, least_pulses=3).pulses == 3
    assert split(520.0, 6.0, 5400.0, metered=False, least_pulses=1).pulses == 2
    assert split(65.0, 6.0, 5400.0, metered=False, least_pulses=4).pulses == 2  # 325 s each
    assert split(20.0, 6.0, 5400.0, metered=False, least_pulses=4).pulses == 1
