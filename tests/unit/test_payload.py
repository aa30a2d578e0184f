"""Bytes become events only where every byte is as agreed."""

from __future__ import annotations

import json
from dataclasses import dataclass

import pytest

from controller.errors import PayloadError
from controller.sensing.payload import (
    decode_canary,
    decode_controller_state,
    decode_meter,
    decode_outlook,
    decode_probe,
    decode_valve,
    decode_weather,
)

WHEN = {"at_utc_s": 1000.0, "mono_s": 5.0}
STATE = {
    "open": True,
    "left_s": 71,
    "dose": "d1",
    "nonce": "a1b2",
    "boot": "b7",
    "epoch": 12,
    "seq": 7,
    "contract": 1,
    "fw": "virtual 1",
}


@dataclass(frozen=True, kw_only=True)
class Form:
    kind: str = "theta_m3_m3"
    field: str | None = None
    senml: str | None = None


def valve(**change: object) -> bytes:
    return json.dumps({**STATE, **change}).encode()


@pytest.mark.parametrize(
    ("text", "value"),
    [
        pytest.param(b"0.234", 0.234, id="decimal"),
        pytest.param(b" 0.234\r\n", 0.234, id="line-end"),
        pytest.param(b"-100", -100.0, id="lowest"),
        pytest.param(b"100", 100.0, id="highest"),
        pytest.param(b"23.4", 23.4, id="percent-for-fraction-gets-its-name-later"),
        pytest.param(b"2.34e-1", 0.234, id="exponent"),
    ],
)
def test_plain_number_is_read(text: bytes, value: float) -> None:
    assert decode_probe(text, "p", Form(), **WHEN).value == value


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("１２".encode(), id="full-width-digits"),
        pytest.param(b"0_1", id="underscore"),
        pytest.param(b"nan", id="nan"),
        pytest.param(b"inf", id="inf"),
        pytest.param(b"1e999", id="overflow"),
        pytest.param(b"", id="empty"),
        pytest.param(b"0.2 0.3", id="two"),
        pytest.param(b"0,2", id="comma"),
        pytest.param(b"\xff0.2", id="no-utf8"),
        pytest.param(b'"0.2"', id="quoted"),
        pytest.param(b"-100.1", id="just-below-range"),
        pytest.param(b"100.1", id="just-above-range"),
        pytest.param(b"0." + b"0" * 3000, id="too-large"),
    ],
)
def test_what_is_no_plain_number_is_refused(text: bytes) -> None:
    with pytest.raises(PayloadError):
        decode_probe(text, "p", Form(), **WHEN)


@pytest.mark.parametrize(
    ("kind", "inside", "outside"),
    [
        pytest.param("theta_pct", b"10000", b"10000.1", id="percent"),
        pytest.param("tension_kpa", b"-200000", b"-200000.1", id="tension"),
        pytest.param("resistance_kohm", b"100000", b"100000.1", id="resistance"),
        pytest.param("raw", b"-1e9", b"-1.1e9", id="raw"),
    ],
)
def test_range_of_each_kind_includes_its_ends(kind: str, inside: bytes, outside: bytes) -> None:
    assert decode_probe(inside, "p", Form(kind=kind), **WHEN).value == float(inside)
    with pytest.raises(PayloadError, match=kind):
        decode_probe(outside, "p", Form(kind=kind), **WHEN)


def test_json_pointer_finds_the_value_and_the_extras() -> None:
    payload = (
        b'{"moist": {"raw": 2110}, "soil_temp_c": 17.5, "battery_v": 3.7, "seq": 9, "boot": "k3"}'
    )
    reading = decode_probe(payload, "p", Form(kind="raw", field="/moist/raw"), **WHEN)
    assert (reading.value, reading.soil_temp_c, reading.battery_v) == (2110.0, 17.5, 3.7)
    assert (reading.seq, reading.boot, reading.at_utc_s, reading.mono_s) == (9, "k3", 1000.0, 5.0)


# RFC 6901 section 5: the document and the pointers that evaluate to numbers.
RFC6901 = (
    b'{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\\\j": 5,'
    b' "k\\"l": 6, " ": 7, "m~n": 8}'
)


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        pytest.param("/", 0, id="empty-key"),
        pytest.param("/a~1b", 1, id="slash"),
        pytest.param("/c%d", 2, id="percent"),
        pytest.param("/e^f", 3, id="caret"),
        pytest.param("/g|h", 4, id="bar"),
        pytest.param("/i\\j", 5, id="backslash"),
        pytest.param('/k"l', 6, id="quote"),
        pytest.param("/ ", 7, id="blank"),
        pytest.param("/m~0n", 8, id="tilde"),
    ],
)
def test_json_pointer_follows_the_examples_of_rfc_6901(pointer: str, value: float) -> None:
    reading = decode_probe(RFC6901, "p", Form(kind="raw", field=pointer), **WHEN)
    assert reading.value == value


@pytest.mark.parametrize(
    ("document", "pointer"),
    [
        pytest.param(b"[1, 2]", "/2", id="past-the-end"),
        pytest.param(b"[1, 2]", "/-", id="new-element"),
        pytest.param(b"[1, 2]", "/01", id="leading-zero"),
        pytest.param(b'{"a": 1}', "/b", id="missing"),
        pytest.param(b'{"a": true}', "/a", id="boolean"),
        pytest.param(b'{"a": "1"}', "/a", id="text"),
        pytest.param(b'{"a": NaN}', "/a", id="nan"),
        pytest.param(b'{"a": 1e999}', "/a", id="overflow"),
        pytest.param(b'{"a": 1, "a": 2}', "/a", id="duplicate-key"),
        pytest.param(b'{"a": 1' + b"0" * 40 + b"}", "/a", id="endless-integer"),
        pytest.param(b'{"a": 1, "seq": -1}', "/a", id="negative-seq"),
        pytest.param(b'{"a": 1, "soil_temp_c": "warm"}', "/a", id="soil-temperature-in-words"),
        pytest.param(b'{"a": 1, "boot": "\xd0\xb01"}', "/a", id="look-alike-boot"),
        pytest.param(b'{"a": 1', "/a", id="cut-off"),
        pytest.param(b"[" * 1000 + b"]" * 1000, "/0", id="deep"),
    ],
)
def test_json_that_is_not_as_agreed_is_refused(document: bytes, pointer: str) -> None:
    with pytest.raises(PayloadError):
        decode_probe(document, "p", Form(kind="raw", field=pointer), **WHEN)


def test_a_soil_temperature_that_cannot_be_is_judged_later() -> None:
    document = b'{"a": 1, "soil_temp_c": -127}'  # what a cut sensor wire tells
    reading = decode_probe(document, "p", Form(kind="raw", field="/a"), **WHEN)
    assert reading.soil_temp_c == -127.0


def test_brackets_inside_text_are_no_depth() -> None:
    document = json.dumps({"note": '[[[[[[[[[[\\"[[[', "a": 3}).encode()
    assert decode_probe(document, "p", Form(kind="raw", field="/a"), **WHEN).value == 3.0


def test_valve_state_is_read_with_its_nonce() -> None:
    report, nonce = decode_valve(valve(), "south", **WHEN)
    assert nonce == "a1b2"
    assert (report.valve, report.open, report.left_s, report.dose) == ("south", True, 71.0, "d1")
    assert (report.boot, report.epoch, report.seq, report.contract) == ("b7", 12, 7, 1)


def test_unused_node_tells_an_empty_dose_and_zero() -> None:
    report, _ = decode_valve(valve(open=False, left_s=0, dose="", epoch=0, seq=0), "v", **WHEN)
    assert (report.open, report.dose, report.epoch) == (False, "", 0)


@pytest.mark.parametrize(
    "change",
    [
        pytest.param({"open": 1}, id="open-as-number"),
        pytest.param({"open": "true"}, id="open-as-text"),
        pytest.param({"left_s": -1}, id="negative-left"),
        pytest.param({"left_s": True}, id="left-as-boolean"),
        pytest.param({"nonce": ""}, id="empty-nonce"),
        pytest.param({"nonce": "a" * 65}, id="long-nonce"),
        pytest.param({"nonce": "a\n"}, id="nonce-with-line-end"),
        pytest.param({"nonce": "а1"}, id="cyrillic-nonce"),
        pytest.param({"dose": "../x y"}, id="blank-in-dose"),
        pytest.param({"epoch": 1.0}, id="epoch-as-float"),
        pytest.param({"epoch": -1}, id="negative-epoch"),
        pytest.param({"seq": 2**53}, id="seq-past-doubles"),
        pytest.param({"contract": "1"}, id="contract-as-text"),
    ],
)
def test_valve_state_that_is_not_as_agreed_is_refused(change: dict[str, object]) -> None:
    with pytest.raises(PayloadError):
        decode_valve(valve(**change), "south", **WHEN)


@pytest.mark.parametrize("key", sorted(set(STATE) - {"fw"}))
def test_valve_state_needs_every_key(key: str) -> None:
    state = {name: value for name, value in STATE.items() if name != key}
    with pytest.raises(PayloadError, match=key):
        decode_valve(json.dumps(state).encode(), "south", **WHEN)


def test_pulses_become_litres() -> None:
    payload = b'{"pulses_total": 12345, "up_s": 86400.0, "boot": "m1"}'
    reading = decode_meter(payload, "main", litres_per_pulse=0.1, **WHEN)
    assert reading.litres_total == pytest.approx(1234.5, abs=1e-9)
    assert (reading.meter, reading.up_s, reading.boot) == ("main", 86400.0, "m1")


@pytest.mark.parametrize(
    "payload",
    [
        pytest.param(b'{"up_s": 1, "boot": "m1"}', id="no-total"),
        pytest.param(
            b'{"litres_total": 1, "pulses_total": 10, "up_s": 1, "boot": "m1"}', id="two-totals"
        ),
        pytest.param(b'{"litres_total": -1, "up_s": 1, "boot": "m1"}', id="negative"),
        pytest.param(b'{"pulses_total": 1.5, "up_s": 1, "boot": "m1"}', id="half-a-pulse"),
        pytest.param(b'{"litres_total": 1, "boot": "m1"}', id="no-uptime"),
    ],
)
def test_meter_that_is_not_as_agreed_is_refused(payload: bytes) -> None:
    with pytest.raises(PayloadError):
        decode_meter(payload, "main", litres_per_pulse=0.1, **WHEN)


def test_weather_tells_what_there_is() -> None:
    reading = decode_weather(b'{"temp_c": 21.5, "rh_pct": 101.2, "solar_w_m2": -3}', "m", **WHEN)
    assert (reading.temp_c, reading.rh_pct, reading.solar_w_m2) == (21.5, 100.0, 0.0)
    assert (reading.rain_mm_total, reading.wind_m_s) == (None, None)


def test_impossible_weather_is_handed_on_for_the_engine_to_leave_out() -> None:
    payload = b'{"temp_c": 60.1, "rh_pct": 105.1, "solar_w_m2": -20.1, "wind_m_s": 75.1}'
    reading = decode_weather(payload, "m", **WHEN)
    told = (reading.temp_c, reading.rh_pct, reading.solar_w_m2, reading.wind_m_s)
    assert told == (60.1, 105.1, -20.1, 75.1)


def test_weather_in_senml_is_read_by_our_names() -> None:
    payload = (
        b'[{"bn": "mast:", "n": "temp_c", "u": "Cel", "v": 18.5},'
        b' {"n": "rain_mm_total", "u": "mm", "v": 12.2}]'
    )
    reading = decode_weather(payload, "m", **WHEN)
    assert (reading.temp_c, reading.rain_mm_total) == (18.5, 12.2)


@pytest.mark.parametrize(
    "payload",
    [
        pytest.param(b"{}", id="nothing"),
        pytest.param(b'{"temp_c": 100001}', id="no-instrument"),
        pytest.param(b'{"temp_c": "warm"}', id="in-words"),
        pytest.param(b'{"rain_mm_total": -1}', id="rain-below-nothing"),
        pytest.param(b'{"wind_m_s": null}', id="null-alone"),
        pytest.param(b'[{"n": "temp_c", "u": "K", "v": 20}]', id="kelvin"),
        pytest.param(b"21.5", id="bare-number"),
    ],
)
def test_weather_that_is_not_as_agreed_is_refused(payload: bytes) -> None:
    with pytest.raises(PayloadError):
        decode_weather(payload, "m", **WHEN)


def test_outlook_is_read_in_utc() -> None:
    payload = (
        b'[{"from": "2026-07-01T00:00:00Z", "hours": 24, "rain_mm": 6.0, "chance": 0.6},'
        b' {"from": "2026-07-02T02:00:00+02:00", "hours": 12, "tmin_c": 12, "tmax_c": 36.5}]'
    )
    spans = decode_outlook(payload, **WHEN).spans
    assert (spans[0].from_utc_s, spans[0].rain_mm, spans[0].chance_frac) == (1782864000.0, 6.0, 0.6)
    assert spans[1].from_utc_s == 1782864000.0 + 86400.0
    assert (spans[1].chance_frac, spans[1].tmax_c) == (1.0, 36.5)


@pytest.mark.parametrize(
    "span",
    [
        pytest.param({"from": "2026-07-01T00:00:00"}, id="no-zone"),
        pytest.param({"from": 1782864000}, id="number-for-instant"),
        pytest.param({"from": "2026-13-01T00:00:00Z"}, id="month-13"),
        pytest.param({"hours": 0}, id="no-hours"),
        pytest.param({"chance": 60}, id="chance-in-percent"),
        pytest.param({"rain_mm": -1}, id="negative-rain"),
        pytest.param({"tmin_c": 20, "tmax_c": 10}, id="upside-down"),
    ],
)
def test_outlook_that_is_not_as_agreed_is_refused(span: dict[str, object]) -> None:
    whole = {"from": "2026-07-01T00:00:00Z", "hours": 24, **span}
    with pytest.raises(PayloadError):
        decode_outlook(json.dumps([whole]).encode(), **WHEN)


def test_controller_state_is_read() -> None:
    heard = decode_controller_state(b'{"state": "up", "epoch": 12, "at": "2026-07-01T00:00:00Z"}')
    assert (heard.up, heard.epoch, heard.run) == (True, 12, None)
    assert not decode_controller_state(b'{"state": "gone"}').up
    with pytest.raises(PayloadError):
        decode_controller_state(b'{"state": "resting"}')


def test_canary_is_a_whole_number() -> None:
    assert decode_canary(b"17") == 17
    with pytest.raises(PayloadError):
        decode_canary("１７".encode())


@pytest.mark.hazard("B7")
def test_cause_never_repeats_what_was_sent() -> None:
    marker = "x1y2z3-not-to-be-seen"
    attempts = [
        (decode_valve, valve(dose=marker + " ")),
        (decode_valve, valve(open=marker)),
        (decode_valve, valve(contract=marker)),
        (decode_weather, json.dumps({"temp_c": marker}).encode()),
        (decode_weather, json.dumps([{marker: 1}]).encode()),
    ]
    for decode, payload in attempts:
        with pytest.raises(PayloadError) as refused:
            decode(payload, "v", **WHEN)
        assert marker not in str(refused.value)
        assert refused.value.__cause__ is None
    with pytest.raises(PayloadError) as refused:
        decode_controller_state(json.dumps({"state": marker}).encode())
    assert marker not in str(refused.value)
