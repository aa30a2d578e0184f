"""The hazards of probes, each injected into a living engine: what is flagged, and no dose from it.

P1 rails, P2 range, P3 stuck, P6 kept messages, P8 noise, P9 unit, P10 order, P12 battery.
"""

from __future__ import annotations

import math
import random

import pytest

from controller.events import GardenChanged
from controller.sensing.flags import Flag
from tests.engine_garden import DAY_S, small_garden
from tests.probe_hands import HOUR_S, STEP_S, A, B, Hands, Told, drying, flat, garden, until

DAYS_H = 24.0
SATURATED = small_garden().beds["south"].saturation_m3_m3


def sound(*, mast: bool = True, every_s: float = STEP_S) -> Hands:
    """A bed that lacks little: nothing is watered for days."""
    plot = garden(mast, every_s=every_s)
    return Hands(plot, south_20=drying(0.27, 0.003), south_40=drying(0.275, 0.002))


@pytest.mark.hazard("P1", "P2")
@pytest.mark.parametrize(
    ("kind", "calibration", "value", "flag"),
    [
        pytest.param("theta_m3_m3", None, 0.0, Flag.RAIL_LOW, id="P1-nothing"),
        pytest.param("theta_m3_m3", None, 0.005, Flag.RAIL_LOW, id="P1-next-to-nothing"),
        pytest.param("theta_m3_m3", None, 1.0, Flag.RAIL_HIGH, id="P1-all-water"),
        pytest.param("theta_pct", None, 0.0, Flag.RAIL_LOW, id="P1-per-cent-nothing"),
        pytest.param("theta_pct", None, 100.0, Flag.RAIL_HIGH, id="P1-per-cent-all-water"),
        pytest.param("raw", True, 4095.0, Flag.RAIL_LOW, id="P1-open-counts-that-fall"),
        pytest.param("raw", True, 0.0, Flag.RAIL_HIGH, id="P1-short-counts-that-fall"),
        pytest.param("raw", False, 0.0, Flag.RAIL_LOW, id="P1-open-counts-that-rise"),
        pytest.param("raw", False, 4095.0, Flag.RAIL_HIGH, id="P1-short-counts-that-rise"),
        pytest.param("theta_m3_m3", None, -0.0001, Flag.OUT_OF_RANGE, id="P2-below"),
        pytest.param("theta_m3_m3", None, SATURATED + 0.0501, Flag.OUT_OF_RANGE, id="P2-above"),
        pytest.param("theta_m3_m3", None, SATURATED + 0.0499, None, id="P2-just-inside"),
        pytest.param("theta_m3_m3", None, 0.0051, None, id="P2-just-above-the-rail"),
        pytest.param("theta_m3_m3", None, math.nan, Flag.OUT_OF_RANGE, id="P2-nan"),
        pytest.param("theta_m3_m3", None, 23.4, Flag.OUT_OF_RANGE, id="P2-wrong-from-the-start"),
    ],
)
def test_a_first_reading_that_cannot_be_is_named_in_one_sample(
    kind: str, calibration: bool | None, value: float, flag: Flag | None
) -> None:
    told: dict[str, object] = {"kind": kind}
    if calibration is not None:
        falling = [[2900.0, 0.04], [1350.0, 0.42]]
        rising = [[800.0, 0.04], [2400.0, 0.42]]
        told["calibration"] = falling if calibration else rising
    hands = Hands(garden(**told))
    hands.tell(A, value)
    assert hands.stands(flag) if flag is not None else hands.probe().flags == {}
    assert (hands.probe().theta_m3_m3 is None) is (flag is not None)
    assert hands.probe().hour_m3_m3 == ([] if flag is not None else hands.probe().hour_m3_m3[:1])


def test_bare_counts_say_so_until_dry_spells_or_the_garden_file_teach_them() -> None:
    hands = Hands(garden(kind="raw"), south_20=flat(2000.0), south_40=drying(0.275, 0.002))
    hands.live(2.0)
    assert hands.stands(Flag.UNCALIBRATED)
    assert hands.alert() == "", "it is learned by itself: no alarm"
    hands.engine.state.learned[f"south/{A}"].slope_frac = 2.0  # as two dry spells do
    hands.live(1.0)
    assert not hands.stands(Flag.UNCALIBRATED)
    hands.engine.state.learned[f"south/{A}"].slope_frac = 0.0
    hands.live(1.0)
    assert hands.stands(Flag.UNCALIBRATED)
    points = garden(kind="raw", calibration=[[2900.0, 0.04], [1350.0, 0.42]])
    hands.step(GardenChanged(**hands.times(), garden_json=points.model_dump_json()))
    hands.garden = points
    hands.live(2.0)
    assert hands.probe().flags == {}
    assert hands.probe().theta_m3_m3 == pytest.approx(0.2606, abs=1e-4)


@pytest.mark.hazard("P1", "P2")
@pytest.mark.parametrize(
    ("value", "flag"),
    [
        pytest.param(0.0, Flag.RAIL_HIGH, id="P1-bare-counts-short"),
        pytest.param(20.0, Flag.RAIL_HIGH, id="P1-bare-counts-nearly"),
        pytest.param(21.0, None, id="P1-bare-counts-just-inside"),
        pytest.param(4074.0, None, id="P1-bare-counts-just-inside-above"),
        pytest.param(4075.0, Flag.RAIL_LOW, id="P1-bare-counts-open"),
        pytest.param(4096.0, Flag.OUT_OF_RANGE, id="P2-more-than-a-converter-has"),
        pytest.param(-1.0, Flag.OUT_OF_RANGE, id="P2-less"),
    ],
)
def test_bare_counts_at_the_end_of_their_converter_are_named(
    value: float, flag: Flag | None
) -> None:
    hands = Hands(garden(kind="raw"))
    hands.tell(A, value)
    assert list(hands.probe().flags) == ([] if flag is None else [flag])


@pytest.mark.hazard("P1", "P2")
@pytest.mark.parametrize(
    ("kind", "value", "flag"),
    [
        pytest.param("tension_kpa", 0.0, None, id="P2-lowest"),
        pytest.param("tension_kpa", 1500.0, None, id="P2-highest"),
        pytest.param("tension_kpa", 1500.1, Flag.OUT_OF_RANGE, id="P2-above"),
        pytest.param("tension_kpa", -30.0, Flag.OUT_OF_RANGE, id="P9-the-other-sign"),
        pytest.param("resistance_kohm", 0.0999, Flag.RAIL_HIGH, id="P1-short"),
        pytest.param("resistance_kohm", 0.1, None, id="P1-least"),
        pytest.param("resistance_kohm", 35.0, None, id="P1-most"),
        pytest.param("resistance_kohm", 35.01, Flag.RAIL_LOW, id="P1-open"),
    ],
)
def test_tension_and_resistance_have_their_ends(kind: str, value: float, flag: Flag | None) -> None:
    hands = Hands(garden(kind=kind))
    hands.tell(A, value)
    assert list(hands.probe().flags) == ([] if flag is None else [flag])


def test_a_resistance_counts_by_the_warmth_of_its_soil() -> None:
    warm, cool, untold = (Hands(garden(kind="resistance_kohm")) for _ in range(3))
    warm.tell(A, 5.0, soil_temp_c=24.0)  # 30.4 kPa
    cool.tell(A, 5.0, soil_temp_c=15.0)  # 26.2 kPa
    untold.tell(A, 5.0)
    assert warm.probe().theta_m3_m3 == untold.probe().theta_m3_m3
    assert (cool.probe().theta_m3_m3 or 0.0) > (warm.probe().theta_m3_m3 or 1.0) + 0.005


@pytest.mark.hazard("P1", "P2")
@pytest.mark.parametrize("value", [0.0, 1.0, -0.3, 0.9, 23.4, -23.4, 1e9])
def test_no_dose_rests_on_a_reading_that_cannot_be(value: float) -> None:
    hands = sound()
    hands.live(6.0)
    hands.probes[A] = flat(value)
    hands.live(3.0 * DAYS_H)
    assert hands.doses() == 0
    assert hands.probe().theta_m3_m3 == pytest.approx(0.27, abs=0.01)
    assert hands.alert()


@pytest.mark.hazard("P3")
def test_a_stuck_probe_is_believed_while_its_peers_are_still_too() -> None:
    hands = sound()
    hands.temp_c = 30.0
    hands.live(2 * DAYS_H)
    hands.probes[A] = hands.probes[B] = flat(0.25)
    hands.live(2 * DAYS_H)
    assert not hands.stands(Flag.STUCK)
    hands.probes[B] = drying(0.30, 0.02)
    hands.live(2 * DAYS_H)
    assert hands.stands(Flag.STUCK)


@pytest.mark.hazard("P3")
@pytest.mark.parametrize(
    ("temp_c", "depth_cm", "value"),
    [
        pytest.param(4.0, 20.0, 0.25, id="a-cool-day-uses-little"),
        pytest.param(30.0, 60.0, 0.25, id="below-the-roots"),
        pytest.param(30.0, 20.0, 0.15, id="too-dry-to-drink-from"),
    ],
)
def test_a_probe_may_stand_still_for_a_reason(temp_c: float, depth_cm: float, value: float) -> None:
    hands = Hands(garden(depth_cm=depth_cm), south_20=flat(value), south_40=drying(0.275, 0.008))
    hands.temp_c = temp_c
    hands.sun_w_m2 = 40.0 if temp_c < 10.0 else 300.0
    hands.live(3.5 * DAYS_H)
    assert hands.probe().still_h > 48
    assert not hands.stands(Flag.STUCK)


@pytest.mark.hazard("P6")
def test_a_kept_dry_value_of_three_days_ago_waters_nothing() -> None:
    hands, deaf = Hands(), Hands()
    for _ in range(5):
        hands.tell(A, 0.15, not_now="retained")
        hands.tell(B, 0.15, not_now="retained")
        hands.live(1.0)
        deaf.live(1.0)
    assert hands.doses() == deaf.doses()
    assert hands.engine.state.water == deaf.engine.state.water
    assert hands.probe().theta_m3_m3 is None
    assert hands.probe().counts["retained"] == 5


def impulses(base: Told, share: float, seed: int, every_s: float = STEP_S) -> Told:
    """Every so often a reading that is anything, mostly bone dry."""
    lot = random.Random(seed)

    def told(now_s: float) -> float | None:
        value = base(now_s)
        if now_s % every_s >= STEP_S:
            return None
        if value is not None and lot.random() < share:
            return max(0.02, value - lot.uniform(0.05, 0.24))
        return value

    return told


@pytest.mark.hazard("P8")
@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("every_s", [STEP_S, HOUR_S], ids=["ten-minutes", "hourly"])
def test_impulse_noise_of_a_fifth_waters_nothing_more(seed: int, every_s: float) -> None:
    calm, noisy = sound(every_s=every_s), sound(every_s=every_s)
    for hands in (calm, noisy):
        hands.live(6.0)
        for n, name in enumerate((A, B)):
            told = impulses(hands.probes[name], 0.2 * (hands is noisy), 10 * seed + n, every_s)
            hands.probes[name] = told
        hands.live(6.0 * DAYS_H)
    assert noisy.doses() == calm.doses() == 0
    assert noisy.probe().counts["spike"] > 5
    assert not noisy.stands(Flag.DROP)
    frac = [hands.engine.state.water["south"].depletion_mm for hands in (calm, noisy)]
    assert frac[1] == pytest.approx(frac[0], abs=3.0)


@pytest.mark.hazard("P8")
@pytest.mark.parametrize("every_s", [60.0, STEP_S, HOUR_S], ids=["minute", "ten", "hourly"])
def test_a_new_dry_level_counts_after_three_readings_and_half_an_hour(every_s: float) -> None:
    hands = sound()
    hands.live(8.0)
    believed: list[int] = []
    for n in range(40):
        hands.now_s += every_s
        hands.tell(A, 0.15)
        if hands.probe().theta_m3_m3 == 0.15:
            believed.append(n + 1)
            break
    assert believed
    assert believed[0] >= 4
    assert (believed[0] - 1) * every_s >= 1800.0


@pytest.mark.hazard("P9")
@pytest.mark.parametrize(
    ("kind", "scale", "slipped"),
    [
        pytest.param("theta_m3_m3", 1.0, 100.0, id="P9-per-cent-for-a-fraction"),
        pytest.param("theta_m3_m3", 1.0, 0.01, id="P9-a-hundredth"),
        pytest.param("theta_m3_m3", 1.0, -1.0, id="P9-sign"),
        pytest.param("theta_pct", 100.0, 0.01, id="P9-23.4-to-0.234"),
        pytest.param("theta_pct", 100.0, 100.0, id="P9-per-cent-times-a-hundred"),
        pytest.param("theta_pct", 100.0, -1.0, id="P9-per-cent-sign"),
    ],
)
def test_a_slip_of_the_unit_is_distrusted_until_the_old_one_returns(
    kind: str, scale: float, slipped: float
) -> None:
    hands = Hands(garden(kind=kind), south_40=drying(0.275, 0.003))
    base = drying(0.27, 0.006)
    hands.probes[A] = lambda now_s: scale * (base(now_s) or 0.0)
    hands.live(6.0)
    hands.probes[A] = lambda now_s: slipped * scale * (base(now_s) or 0.0)
    hands.live(STEP_S / HOUR_S)
    assert hands.stands(Flag.UNIT_SLIP), "named in one sample"
    hands.live(2.0 * DAYS_H)
    assert hands.stands(Flag.UNIT_SLIP)
    assert hands.doses() == 0
    assert hands.probe().trust == "out"
    assert hands.probe().theta_m3_m3 == pytest.approx(0.27, abs=0.01)
    hands.probes[A] = lambda now_s: scale * (base(now_s) or 0.0)
    hands.live(0.5)
    assert not hands.stands(Flag.UNIT_SLIP)
    assert hands.probe().trust == ""


def test_a_dried_out_bed_is_no_slip_of_the_unit() -> None:
    hands = sound()
    hands.live(6.0)
    hands.tell(A, 0.06)
    assert not hands.stands(Flag.UNIT_SLIP)


def test_a_rise_at_a_dose_or_a_rain_is_no_fault() -> None:
    hands = sound()
    hands.live(6.0)
    hands.rain_mm += 12.0
    hands.live(0.5)
    hands.probes[A] = until(hands.now_s + 2 * HOUR_S, flat(0.45), drying(0.33, 0.03))
    hands.live(8.0)
    assert hands.probe().counts == {}
    assert hands.probe().theta_m3_m3 == pytest.approx(0.31, abs=0.03)


def test_without_a_mast_a_rise_may_be_rain_but_a_spike_is_still_one() -> None:
    hands = sound(mast=False)
    hands.live(6.0)
    hands.tell(A, 0.10)
    assert hands.stands(Flag.SPIKE)
    hands.probes[A] = flat(0.38)
    hands.live(5.0)
    assert not hands.stands(Flag.JUMP)
    assert hands.probe().theta_m3_m3 == 0.38
    hands.probes[A] = flat(0.33)  # drains
    hands.live(3.0)
    assert not hands.stands(Flag.DROP)


@pytest.mark.hazard("P10")
def test_a_restart_of_the_numbers_counts_after_a_silence_and_two_that_rise() -> None:
    hands = Hands()
    for number in (500, 501, 502):
        hands.now_s += STEP_S
        hands.tell(A, 0.25, seq=number)
    hands.now_s += STEP_S
    hands.tell(A, 0.2499, seq=1)
    assert hands.stands(Flag.OUT_OF_ORDER)
    hands.now_s += HOUR_S
    hands.tell(A, 0.2498, seq=502)
    assert hands.probe().theta_m3_m3 == 0.25, "one old reading again and again is no life"
    hands.tell(A, 0.2497, seq=7)
    hands.now_s += STEP_S
    hands.tell(A, 0.2496, seq=8)
    assert hands.probe().theta_m3_m3 == 0.2496
    assert hands.probe().flags == {}


@pytest.mark.hazard("P10")
def test_a_late_word_of_an_earlier_boot_is_out_of_order() -> None:
    hands = Hands()
    hands.tell(A, 0.25, seq=9, boot="a")
    hands.tell(A, 0.2499, seq=1, boot="b")
    assert hands.probe().flags == {}
    hands.tell(A, 0.2, seq=10, boot="a")
    assert hands.stands(Flag.OUT_OF_ORDER)
    assert hands.probe().theta_m3_m3 == 0.2499


@pytest.mark.hazard("P12")
def test_a_fading_battery_is_told_days_before_it_costs_trust() -> None:
    hands = sound()
    faded_s = flat_s = None
    hands.probes[A] = hands.probes[B] = drying(0.27, 0.002)  # slower, and they stand still
    for day in range(60):
        volts = 4.1 - 0.02 * day
        hands.more[A] = {"battery_v": volts}
        hands.live(24.0)
        if faded_s is None and hands.stands(Flag.BATTERY_FADING):
            faded_s = hands.now_s
            assert hands.probe().trust == ""
            assert "battery" in hands.alert()
        if hands.stands(Flag.BROWN_OUT):
            flat_s = hands.now_s
            break
    assert faded_s is not None
    assert flat_s is not None
    assert 5.0 <= (flat_s - faded_s) / DAY_S <= 8.0
    assert hands.probe().trust == "doubtful"


@pytest.mark.hazard("P12")
def test_a_told_least_voltage_counts() -> None:
    hands = Hands(garden(battery_least_v=2.4))
    hands.tell(A, 0.25, battery_v=3.3)
    hands.tell(A, 0.25, battery_v=2.45)
    assert not hands.stands(Flag.BROWN_OUT)
    hands.tell(A, 0.25, battery_v=2.39)
    assert hands.stands(Flag.BROWN_OUT)


def on_battery(hands: Hands, volts: float, days: int) -> None:
    hands.more[A] = {"battery_v": volts}
    hands.live(24.0 * days)


@pytest.mark.hazard("P12")
@pytest.mark.parametrize("wrong_v", [60.0, 5.0, 0.0])
def test_a_wrong_word_of_the_battery_doubts_no_probe_for_longer_than_itself(wrong_v: float) -> None:
    hands = sound()
    hands.probes[A] = hands.probes[B] = drying(0.27, 0.0005)
    hands.tell(A, 0.27, battery_v=wrong_v)  # the very first one
    for _ in range(4):
        on_battery(hands, 3.7, 2)
        hands.tell(A, hands.probe().value or 0.27, battery_v=wrong_v)
        hands.tell(A, hands.probe().value or 0.27, battery_v=3.7)
        assert not hands.stands(Flag.BROWN_OUT)
        assert not hands.stands(Flag.BATTERY_FADING)
    assert hands.probe().battery_most_v == 3.7
    assert hands.probe().trust == ""
    on_battery(hands, 2.87, 1)
    assert hands.stands(Flag.BROWN_OUT), "0.78 of it, as before"


@pytest.mark.hazard("P12")
def test_a_wrong_voltage_of_an_older_record_is_learned_anew_within_days() -> None:
    hands = sound()
    hands.probes[A] = hands.probes[B] = drying(0.27, 0.0005)
    hands.probe().battery_most_v = 60.0
    on_battery(hands, 3.7, 1)
    assert hands.stands(Flag.BROWN_OUT)
    on_battery(hands, 3.7, 4)
    assert hands.probe().battery_most_v == 3.7
    assert not hands.stands(Flag.BROWN_OUT)


@pytest.mark.hazard("P12")
def test_a_flat_battery_stays_one_however_long_it_lasts() -> None:
    hands = sound()
    hands.probes[A] = hands.probes[B] = drying(0.27, 0.0002)
    on_battery(hands, 4.0, 3)
    on_battery(hands, 2.4, 20)
    assert hands.probe().battery_most_v == 4.0
    assert hands.stands(Flag.BROWN_OUT)


@pytest.mark.hazard("P12")
def test_a_battery_that_falls_at_once_is_flat_with_its_second_word() -> None:
    hands = sound()
    on_battery(hands, 4.0, 3)
    hands.tell(A, hands.probe().value or 0.24, battery_v=1.5)
    assert not hands.stands(Flag.BROWN_OUT)
    hands.tell(A, hands.probe().value or 0.24, battery_v=1.5)
    assert hands.stands(Flag.BROWN_OUT)
