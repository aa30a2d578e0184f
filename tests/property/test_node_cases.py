"""One list of contract cases for the virtual nodes and the firmware; random scripts; fuzz."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.sensing.payload import decode_valve
from tests.node_bench import NODE, FirmwareNode, VirtualBench, firmware
from tests.property.test_node_contract import STEPS, Script

cases = firmware("contract_cases")
selfcheck = firmware("selfcheck")
ticks = firmware("lease_node.ticks")
strict_json = firmware("lease_node.strict_json")
mqtt5 = firmware("lease_node.mqtt5")
valve = firmware("lease_node.valve")

BENCHES: dict[str, Any] = {"virtual": VirtualBench} | {
    f"firmware-from-{start}": lambda start=start: selfcheck.FirmwareBench(start)
    for start in selfcheck.STARTS
}


@pytest.mark.parametrize("bench", BENCHES)
@pytest.mark.parametrize("name", [name for name, _ in cases.CASES])
def test_every_node_keeps_the_contract(name: str, bench: str) -> None:
    cases.play(dict(cases.CASES)[name], BENCHES[bench]())


def test_the_list_is_long_and_its_names_are_apart() -> None:
    names = [name for name, _ in cases.CASES]
    assert len(set(names)) == len(names) >= 41


class Sloppy(VirtualBench):
    """A node that keeps its nonces over a close and takes what the broker kept."""

    def hear(self, kind: Any, payload: bytes, retained: bool) -> bool:
        known = dict(self.node._nonces)
        done = super().hear(kind, payload, False)
        self.node._nonces = known
        return done


class Hasty(VirtualBench):
    """A node whose time runs at half its pace."""

    def wait(self, ms: int) -> None:
        super().wait(ms // 2)


@pytest.mark.parametrize(("bench", "least"), [(Sloppy, 3), (Hasty, 10)])
def test_a_node_that_breaks_the_contract_is_found(bench: Any, least: int) -> None:
    found = []
    for name, steps in cases.CASES:
        try:
            cases.play(steps, bench())
        except cases.BrokenError:
            found.append(name)
    assert len(found) >= least, found


def in_eighths(number: float) -> float:
    """Seconds that the script's fractions and the firmware's milliseconds both hold exactly."""
    return round(8.0 * number) / 8.0


@pytest.mark.parametrize("start", selfcheck.STARTS)
@settings(max_examples=60, deadline=None)
@given(steps=STEPS)
def test_no_script_makes_the_firmware_open_past_lease_and_ceiling(
    start: int, steps: list[tuple[str, float]]
) -> None:
    run = Script(node=FirmwareNode(start))  # type: ignore[arg-type]
    for what, number in steps:
        getattr(run, what)(in_eighths(number))


@settings(max_examples=30, deadline=None)
@given(steps=STEPS)
def test_the_controller_understands_every_state_of_the_firmware(
    steps: list[tuple[str, float]],
) -> None:
    node = FirmwareNode(selfcheck.STARTS[1])
    run = Script(node=node)  # type: ignore[arg-type]
    for what, number in steps:
        getattr(run, what)(in_eighths(number))
        told = json.dumps(node.state(run.now_s)).encode()
        report, _ = decode_valve(told, "south", at_utc_s=0.0, mono_s=0.0)
        assert report.open == node.is_open


# -- its JSON


JSON = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(-(10**14), 10**14), st.text(max_size=8), st.floats()
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=8,
)


def whole(value: object) -> object:
    """What a node has of a document: numbers that are not whole are nothing."""
    match value:
        case dict():
            return {key: whole(inner) for key, inner in value.items()}
        case list():
            return [whole(inner) for inner in value]
        case float():
            return None
        case int() if abs(value) >= 10**strict_json.MOST_DIGITS:
            return None
        case _:
            return value


@settings(max_examples=300, deadline=None)
@given(document=JSON, ascii_only=st.booleans(), indent=st.sampled_from([None, 1]))
def test_what_is_json_is_read_alike(document: object, ascii_only: bool, indent: int | None) -> None:
    text = json.dumps(document, ensure_ascii=ascii_only, indent=indent)
    try:
        data = text.encode()
        found = strict_json.parse(data)
    except (UnicodeEncodeError, ValueError):
        deep = text.count("[") + text.count("{") > strict_json.MOST_DEPTH
        odd = "NaN" in text or "Infinity" in text or "\\u" in text or max(text) >= "\ud800"
        assert deep or odd
        return
    if "\\u" not in text:  # halves of pairs are told as a stand-in
        assert found == whole(json.loads(text))


@settings(max_examples=500, deadline=None)
@given(
    data=st.one_of(
        st.binary(max_size=60), st.text('{}[]",:0123456789.eE+-truefalsn \\').map(str.encode)
    )
)
def test_what_it_takes_python_takes_too(data: bytes) -> None:
    try:
        found = strict_json.parse(data)
    except ValueError:
        return
    assert found == whole(json.loads(data))


@pytest.mark.parametrize(
    "text",
    ['{"a" 1}', '{"a": 1 "b": 2}', '{"a": 1, "a": 2}', "[1,]", "01", "1.", "+1", "'a'", '"\t"',
     "NaN", "Infinity", "nul", "[" * 9 + "]" * 9, '{"a": 1}}', "", " ", '"\\x"', '"\\u12"', "-"],
)  # fmt: skip
def test_what_the_small_interpreter_lets_pass_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        strict_json.parse(text.encode())


@settings(max_examples=300, deadline=None)
@given(payload=st.binary(max_size=80))
def test_no_bytes_upset_the_valve(payload: bytes) -> None:
    bench = selfcheck.FirmwareBench(0)
    assert not bench.hear("lease", payload, False)
    assert not bench.is_open()


# -- its MQTT


@settings(max_examples=400, deadline=None)
@given(chunks=st.lists(st.binary(max_size=40), max_size=8), after=st.booleans())
def test_any_bytes_of_a_broker_end_the_connection_at_the_worst(
    chunks: list[bytes], after: bool
) -> None:
    session = mqtt5.Session("n", "", "", [("a/lease", 0)], 0)
    try:
        if after:
            session.feed(bytes.fromhex("2003000000 9004 0001 00 00"), 1)
        for chunk in chunks:
            session.feed(chunk, 2)
    except mqtt5.MqttError:
        return
    assert len(session.out) <= mqtt5.OUT_MOST
    assert len(session._in) <= mqtt5.MOST + 5


@settings(max_examples=200, deadline=None)
@given(
    start=st.integers(0, ticks.PERIOD_TICKS - 1),
    steps=st.lists(st.integers(0, ticks.PERIOD_TICKS // 2 - 1), max_size=30),
)
def test_uptime_adds_up_whatever_the_counter_wraps(start: int, steps: list[int]) -> None:
    uptime, counter = ticks.Uptime(start), start
    for step in steps:
        counter = (counter + step) % ticks.PERIOD_TICKS
        uptime.update(counter)
        assert not uptime.went_back
    assert uptime.now_ms == sum(steps)


def test_a_counter_that_goes_back_is_told_and_adds_nothing() -> None:
    uptime = ticks.Uptime(1000)
    assert uptime.update(1500) == 500
    assert uptime.update(1400) == 500
    assert uptime.went_back
    assert uptime.update(1450) == 550
    assert not uptime.went_back


def test_the_numbers_of_the_contract_are_the_same_on_both_sides() -> None:
    from sim import nodes

    assert valve.CONTRACT == nodes.CONTRACT
    assert valve.LEASE_MOST_S == nodes.LEASE_MOST_S
    assert valve.NONCE_LIFE_MS == 1000 * nodes.NONCE_LIFE_S
    assert valve.CEILING_MS == 1000 * nodes.CEILING_S
    assert valve.REST_MS == 1000 * nodes.REST_S
    assert valve.STATE_EVERY_MS == 1000 * nodes.STATE_EVERY_S
    assert valve.LARGEST_PAYLOAD == nodes.LARGEST_PAYLOAD


def test_the_pure_part_imports_nothing_of_a_board() -> None:
    for module in ("ticks", "strict_json", "valve", "meter", "probe", "kept", "mqtt5", "loop"):
        text = (NODE / "lease_node" / f"{module}.py").read_text(encoding="utf-8")
        lines = [
            line.split()[1] for line in text.splitlines() if line.startswith(("import", "from"))
        ]
        assert all(name.startswith("lease_node.") or name == "binascii" for name in lines), module
