"""Which readings are believed, and for how long."""

from __future__ import annotations

import math
from typing import Any

import pytest

from controller.events import ProbeReading
from controller.sensing.quality import (
    accept,
    fresh,
    heard,
    hour_value,
    order_fault,
    refusal,
    silent_after_s,
    take_order,
    usable,
)
from controller.state import ProbeState

SATURATION = 0.46


def reading(value: float = 0.2, mono_s: float = 100.0, **more: Any) -> ProbeReading:
    return ProbeReading(at_utc_s=1e9 + mono_s, mono_s=mono_s, probe="p", value=value, **more)


@pytest.mark.hazard("P2")
@pytest.mark.parametrize(
    ("theta", "why"),
    [
        pytest.param(-0.0001, "out_of_range", id="below-nothing"),
        pytest.param(0.0, "rail_low", id="nothing"),
        pytest.param(0.005, "rail_low", id="next-to-nothing"),
        pytest.param(0.0051, "", id="just-above"),
        pytest.param(0.5099, "", id="just-below-saturation-and-five-points"),
        pytest.param(0.5101, "out_of_range", id="above-saturation-and-five-points"),
        pytest.param(0.9949, "out_of_range", id="nearly-all-water"),
        pytest.param(0.995, "rail_high", id="all-water"),
        pytest.param(1.0, "rail_high", id="the-highest"),
        pytest.param(1.0001, "out_of_range", id="more-than-all"),
        pytest.param(math.nan, "out_of_range", id="nan"),
        pytest.param(math.inf, "out_of_range", id="inf"),
        pytest.param(-math.inf, "out_of_range", id="minus-inf"),
        pytest.param(None, "uncalibrated", id="none"),
    ],
)
def test_only_what_soil_can_hold_is_believed(theta: float | None, why: str) -> None:
    assert refusal(reading(), theta, SATURATION) == why


@pytest.mark.hazard("P2")
@pytest.mark.parametrize(
    ("temp_c", "why"),
    [
        pytest.param(-5.1, "soil_temperature", id="too-cold"),
        pytest.param(-5.0, "frozen_soil", id="coldest"),
        pytest.param(-0.01, "frozen_soil", id="just-frozen"),
        pytest.param(0.0, "", id="just-thawed"),
        pytest.param(60.0, "", id="warmest"),
        pytest.param(60.1, "soil_temperature", id="too-warm"),
        pytest.param(math.nan, "soil_temperature", id="nan"),
        pytest.param(None, "", id="none"),
    ],
)
def test_soil_of_a_temperature_that_cannot_be_is_not_believed(
    temp_c: float | None, why: str
) -> None:
    assert refusal(reading(soil_temp_c=temp_c), 0.2, SATURATION) == why


@pytest.mark.hazard("P6")
@pytest.mark.parametrize(
    ("every_s", "learned_s", "silent_s"),
    [
        pytest.param(600.0, None, 1800.0, id="told"),
        pytest.param(60.0, None, 900.0, id="never-under-a-quarter-hour"),
        pytest.param(None, 1000.0, 3000.0, id="learned"),
        pytest.param(600.0, 1000.0, 1800.0, id="told-before-learned"),
        pytest.param(None, None, 1800.0, id="assumed"),
    ],
)
def test_a_probe_is_silent_after_three_of_its_intervals(
    every_s: float | None, learned_s: float | None, silent_s: float
) -> None:
    assert silent_after_s(ProbeState(every_s=learned_s), every_s) == silent_s


@pytest.mark.hazard("P6")
@pytest.mark.parametrize(
    ("now_s", "since_s", "is_fresh"),
    [
        pytest.param(1900.0, 0.0, True, id="on-the-limit"),
        pytest.param(1900.1, 0.0, False, id="stale"),
        pytest.param(200.0, 100.0, True, id="since-the-link-came-up"),
        pytest.param(200.0, 100.1, False, id="before-the-link-came-up"),
    ],
)
def test_a_reading_is_fresh_for_a_while_and_since_the_link(
    now_s: float, since_s: float, is_fresh: bool
) -> None:
    probe = ProbeState(mono_s=100.0, theta_m3_m3=0.2)
    assert fresh(probe, 600.0, since_s, now_s) is is_fresh


def test_a_probe_never_heard_in_this_run_is_not_fresh() -> None:
    assert not fresh(ProbeState(theta_m3_m3=0.2, at_utc_s=1e9), 600.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("seq", "boot", "flag"),
    [
        pytest.param(8, "x", None, id="next"),
        pytest.param(7, "x", "duplicate", id="the-same"),
        pytest.param(3, "x", "out_of_order", id="an-older"),
        pytest.param(1, "y", None, id="after-a-reboot"),
        pytest.param(99, "w", "out_of_order", id="of-an-earlier-boot"),
        pytest.param(None, "x", None, id="without-number"),
    ],
)
def test_what_a_node_said_before_is_not_taken_again(
    seq: int | None, boot: str, flag: str | None
) -> None:
    probe = ProbeState(seq=7, boot="x", boots=["w"], mono_s=50.0)
    assert order_fault(reading(seq=seq, boot=boot), probe, 600.0) == flag


def test_four_earlier_boots_are_known() -> None:
    probe = ProbeState()
    for boot in "abcdef":
        take_order(reading(seq=1, boot=boot), probe)
    assert (probe.boot, probe.boots) == ("f", ["b", "c", "d", "e"])


@pytest.mark.parametrize(
    ("trust", "speaks"), [("", True), ("doubtful", True), ("out", False)], ids=str
)
def test_a_probe_that_is_out_is_not_used(trust: str, speaks: bool) -> None:
    probe = ProbeState(mono_s=100.0, theta_m3_m3=0.2, trust=trust)
    assert usable(probe, 600.0, 0.0, 200.0) is speaks


@pytest.mark.parametrize(
    ("heard_s", "is_heard"),
    [
        pytest.param(100.0, True, id="since-the-link"),
        pytest.param(99.0, False, id="before-the-link"),
        pytest.param(None, False, id="never"),
    ],
)
def test_a_refused_word_is_a_word(heard_s: float | None, is_heard: bool) -> None:
    probe = ProbeState(heard_mono_s=heard_s)
    assert heard(probe, 600.0, 100.0, 1900.0) is is_heard
    assert not heard(probe, 600.0, 100.0, 2000.0)


def test_the_hour_tells_its_median_and_begins_anew() -> None:
    probe = ProbeState()
    for value in (0.20, 0.21, 0.45, 0.19, 0.0):
        accept(reading(value), probe, value)
    assert hour_value(probe) == 0.20
    assert hour_value(probe) is None


def test_the_interval_is_learned_from_arrivals() -> None:
    probe = ProbeState()
    for at_s in (0.0, 300.0, 600.0, 900.0):
        accept(reading(0.2, at_s), probe, 0.2)
    assert probe.every_s == 300.0
    accept(reading(0.2, 900.5), probe, 0.2)  # arrived in a bunch
    assert probe.every_s == 300.0
    accept(reading(0.2, 900.5 + 5 * 3600.0), probe, 0.2)  # was away
    assert probe.every_s == 300.0


def test_a_probe_that_chatters_does_not_grow_without_bound() -> None:
    probe = ProbeState()
    for n in range(1000):
        accept(reading(0.2, n * 2.0), probe, 0.2)
    assert len(probe.hour_m3_m3) == 120
