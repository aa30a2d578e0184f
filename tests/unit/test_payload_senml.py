"""SenML packs resolve as RFC 8428 says, and only the declared unit passes."""

from __future__ import annotations

import json
from dataclasses import dataclass

import pytest

from controller.errors import PayloadError
from controller.sensing.payload import decode_probe
from controller.sensing.senml import choose, resolve

WHEN = {"at_utc_s": 1000.0, "mono_s": 5.0}


@dataclass(frozen=True, kw_only=True)
class Form:
    kind: str = "theta_m3_m3"
    field: str | None = None
    senml: str | None = "vwc"


def decode(pack: object, kind: str = "theta_m3_m3", key: str = "vwc") -> float:
    payload = json.dumps(pack).encode()
    return decode_probe(payload, "p", Form(kind=kind, senml=key), **WHEN).value


def test_base_fields_hold_from_their_record_on() -> None:
    """The shape of RFC 8428 section 5.1.3: base name, base time and base unit, relative times."""
    records = resolve(
        [
            {"bn": "urn:dev:ow:10e2073a0108006:", "bt": 1.276020076001e9, "bu": "A", "bver": 5,
             "n": "voltage", "u": "V", "v": 120.1},
            {"n": "current", "t": -5, "v": 1.2},
            {"n": "current", "t": -4, "v": 1.3},
        ]
    )  # fmt: skip
    assert [r.name for r in records] == [
        "urn:dev:ow:10e2073a0108006:voltage",
        "urn:dev:ow:10e2073a0108006:current",
        "urn:dev:ow:10e2073a0108006:current",
    ]
    assert [r.unit for r in records] == ["V", "A", "A"]
    assert [r.value for r in records] == [120.1, 1.2, 1.3]
    assert records[1].time_s == pytest.approx(1276020071.001, abs=1e-3)


def test_base_value_is_added() -> None:
    assert decode([{"n": "vwc", "bv": 0.2, "v": 0.05}]) == pytest.approx(0.25, abs=1e-12)


def test_base_value_alone_is_a_value() -> None:
    assert decode([{"n": "vwc", "bv": 0.2}]) == 0.2


def test_newest_record_of_a_name_is_taken() -> None:
    pack = [{"bn": "d:", "n": "vwc", "t": -60, "v": 0.3}, {"n": "vwc", "t": 0, "v": 0.2},
            {"n": "vwc", "t": -30, "v": 0.4}]  # fmt: skip
    assert decode(pack) == 0.2


def test_full_name_goes_before_the_record_name() -> None:
    records = resolve([{"bn": "a:", "n": "vwc", "v": 1}, {"bn": "", "n": "vwc", "v": 2}])
    assert choose(records, "vwc").value == 2
    assert choose(records, "a:vwc").value == 1


@pytest.mark.parametrize(
    ("kind", "unit", "sent", "value"),
    [
        pytest.param("theta_m3_m3", "/", 0.25, 0.25, id="ratio"),
        pytest.param("theta_m3_m3", "m3/m3", 0.25, 0.25, id="named-ratio"),
        pytest.param("theta_pct", "/100", 25.0, 25.0, id="hundredths"),
        pytest.param("tension_kpa", "kPa", 33.0, 33.0, id="kilopascal"),
        pytest.param("tension_kpa", "hPa", 330.0, 33.0, id="hectopascal"),
        pytest.param("tension_kpa", "Pa", 33000.0, 33.0, id="pascal"),
        pytest.param("resistance_kohm", "Ohm", 5000.0, 5.0, id="ohm"),
    ],
)
def test_unit_of_the_declared_kind_passes(kind: str, unit: str, sent: float, value: float) -> None:
    found = decode([{"n": "vwc", "u": unit, "v": sent}], kind=kind)
    assert found == pytest.approx(value, abs=1e-9)


@pytest.mark.hazard("P9")
@pytest.mark.parametrize(
    ("kind", "unit"),
    [
        pytest.param("theta_m3_m3", "%", id="percent-sign"),
        pytest.param("theta_m3_m3", "/100", id="hundredths-for-ratio"),
        pytest.param("theta_pct", "/", id="ratio-for-hundredths"),
        pytest.param("theta_pct", "%", id="percent-sign-for-hundredths"),
        pytest.param("tension_kpa", "bar", id="bar"),
        pytest.param("resistance_kohm", "V", id="volt"),
    ],
)
def test_another_unit_is_refused(kind: str, unit: str) -> None:
    with pytest.raises(PayloadError, match="another unit"):
        decode([{"n": "vwc", "u": unit, "v": 0.25}], kind=kind)


@pytest.mark.parametrize(
    "pack",
    [
        pytest.param([], id="empty"),
        pytest.param({"n": "vwc", "v": 0.2}, id="no-array"),
        pytest.param([0.2], id="no-object"),
        pytest.param([{"n": "other", "v": 0.2}], id="other-name"),
        pytest.param([{"n": "vwc", "vb": True}], id="boolean-value"),
        pytest.param([{"n": "vwc", "v": True}], id="boolean-as-number"),
        pytest.param([{"n": "vwc", "v": 0.2, "vs": "x"}], id="two-values"),
        pytest.param([{"n": "vwc", "v": 0.2, "x_": 1}], id="must-understand"),
        pytest.param([{"n": "vwc", "v": 0.2, "bver": 11}], id="newer-version"),
        pytest.param([{"n": "-vwc", "v": 0.2}, {"n": "vwc", "v": 0.2}], id="bad-name"),
        pytest.param(
            [{"bn": "a:", "n": "vwc", "v": 0.2}, {"bn": "b:", "n": "vwc", "v": 0.3}],
            id="ambiguous",
        ),
        pytest.param([{"n": "vwc", "v": 0.2}, {"n": "battery_v", "u": "A", "v": 3}], id="amperes"),
    ],
)
def test_pack_that_is_not_as_agreed_is_refused(pack: object) -> None:
    with pytest.raises(PayloadError):
        decode(pack)


@pytest.mark.parametrize(
    ("time_s", "not_now"),
    [
        pytest.param(-901.0, "future_dated", id="too-old"),
        pytest.param(-900.0, "", id="oldest"),
        pytest.param(0.0, "", id="now"),
        pytest.param(5.0, "", id="latest"),
        pytest.param(6.0, "future_dated", id="future"),
        pytest.param(4e9, "", id="absolute-times-are-not-judged"),
    ],
)
def test_a_record_that_dates_itself_wrongly_is_marked(time_s: float, not_now: str) -> None:
    pack = [{"n": "vwc", "t": time_s, "v": 0.2}, {"n": "soil_temp_c", "t": time_s, "v": 17.0}]
    reading = decode_probe(json.dumps(pack).encode(), "p", Form(), **WHEN)
    assert reading.not_now == not_now


def test_pack_carries_soil_temperature_and_battery() -> None:
    pack = [
        {"bn": "d:", "n": "vwc", "u": "/", "v": 0.25},
        {"n": "soil_temp_c", "u": "Cel", "v": 17.5},
        {"n": "battery_v", "u": "V", "v": 3.6},
    ]
    reading = decode_probe(json.dumps(pack).encode(), "p", Form(), **WHEN)
    assert (reading.soil_temp_c, reading.battery_v) == (17.5, 3.6)
