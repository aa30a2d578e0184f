"""The firmware's parts: pulses, totals, samples, what is kept, packets, the link, the round."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from controller.sensing.payload import decode_meter
from tests.node_bench import NODE, firmware

kept = firmware("lease_node.kept")
link = firmware("lease_node.link")
loop = firmware("lease_node.loop")
meter = firmware("lease_node.meter")
mqtt5 = firmware("lease_node.mqtt5")
probe = firmware("lease_node.probe")
desk = firmware("lease_node.desk")
valve = firmware("lease_node.valve")

CONNACK = bytes.fromhex("2003000000")
SUBACK = bytes.fromhex("9004000200 00".replace(" ", ""))
PERIOD = 1 << 30


# -- meter


def test_bounces_are_one_pulse_and_the_wrap_is_none() -> None:
    counter = meter.PulseCounter(PERIOD)
    for ticks in (PERIOD - 30, PERIOD - 25, PERIOD - 11, PERIOD - 9, 2, 12, 13):
        counter.edge(ticks)
    assert counter.pulses == 3  # at -30, at -9 (21 ms later), at 12 (21 ms later)


def test_the_first_edge_at_tick_0_counts() -> None:
    counter = meter.PulseCounter(PERIOD)
    counter.edge(0)
    assert counter.pulses == 1


def told_at(changes: dict[int, int], until_ms: int) -> list[int]:
    """When a meter tells, given its total from certain instants on [ms]."""
    node, total, found = meter.Meter("main", "b", 0), 0, []
    for now_ms in range(0, until_ms, 500):
        total = changes.get(now_ms, total)
        node.count(total, now_ms)
        if node.has_news(now_ms):
            found.append(now_ms)
            node.reading(now_ms)
    return found


def test_a_total_is_told_at_the_first_pulse_every_5_s_then_every_60_s() -> None:
    found = told_at({70_000: 1, 72_000: 5, 73_000: 9}, 300_000)
    assert found[:2] == [0, 60_000]
    assert found[2:6] == [70_000, 75_000, 80_000, 85_000]
    assert max(t for t in found if t <= 133_000) == 130_000
    assert [b - a for a, b in zip(found[-3:], found[-2:], strict=False)] == [60_000, 60_000]


def test_the_controller_understands_its_total_to_the_millisecond_after_a_year() -> None:
    node = meter.Meter("main", "1234abcd", 0)
    node.count(987_654_321, 5)
    year_ms = 365 * 86_400_000 + 7
    told = node.reading(year_ms)
    reading = decode_meter(told, "main", litres_per_pulse=0.1, at_utc_s=0.0, mono_s=0.0)
    assert reading.up_s == 31_536_000.007
    assert json.loads(node.reading(year_ms))["pulses_total"] == 987_654_321


# -- probe


@pytest.mark.parametrize(
    ("samples", "middle"), [([5], 5), ([9, 1, 5], 5), ([4, 1, 3, 2], 2), ([7] * 10 + [4095], 7)]
)
def test_the_middle_of_the_samples_counts(samples: list[int], middle: int) -> None:
    assert probe.median(samples) == middle


def test_no_sample_is_an_error() -> None:
    with pytest.raises(ValueError, match="no sample"):
        probe.median([])


def test_one_message_tells_all_probes_battery_number_and_boot() -> None:
    stamp = probe.Stamp(b"", "cafe")
    told = json.loads(probe.message([("shallow", 1893), ("deep", 0)], 3708, stamp))
    assert told == {
        "shallow": {"raw": 1893}, "deep": {"raw": 0}, "battery_v": 3.708, "seq": 1, "boot": "cafe",
    }  # fmt: skip
    assert "battery_v" not in json.loads(probe.message([], 12, stamp))


def test_number_and_boot_go_on_through_sleep_and_begin_anew_after_rubbish() -> None:
    stamp = probe.Stamp(b"", "cafe")
    stamp.next()
    woken = probe.Stamp(stamp.keep(), "beef")
    assert (woken.boot, woken.next()) == ("cafe", 2)
    for rubbish in (b"", b"\0" * 40, b"probe cafe -1 .", b"probe cafe 12", stamp.keep()[:-1]):
        fresh = probe.Stamp(rubbish, "beef")
        assert (fresh.boot, fresh.next()) == ("beef", 1)


def test_it_sleeps_to_its_pace_and_long_on_a_flat_battery() -> None:
    assert probe.sleep_ms(600_000, 4_000, 3_700, 3_300) == 596_000
    assert probe.sleep_ms(600_000, 4_000, 3_200, 3_300) == 3_596_000
    assert probe.sleep_ms(600_000, 4_000, 0, 3_300) == 596_000  # no battery is measured
    assert probe.sleep_ms(1_000, 20_000, 3_700, 3_300) == probe.SLEEP_LEAST_MS


# -- what is kept


def test_orders_are_kept_and_a_cut_write_leaves_the_older_ones(tmp_path: Path) -> None:
    first = kept.Kept(str(tmp_path))
    assert first.orders == {}
    assert first.save({"south": (1, 5)})
    assert first.save({"south": (1, 9), "wall": (2, 1)})
    again = kept.Kept(str(tmp_path))
    assert again.orders == {"south": (1, 9), "wall": (2, 1)}
    newest = tmp_path / kept.SLOTS[0]
    whole = newest.read_bytes()
    for cut in range(len(whole)):
        newest.write_bytes(whole[:cut])
        assert kept.Kept(str(tmp_path)).orders == {"south": (1, 5)}


def test_every_flipped_bit_of_what_is_kept_is_seen() -> None:
    data = kept.pack(7, {"south": (3, 41)})
    assert kept.unpack(data) == (7, {"south": (3, 41)})
    for bit in range(8 * len(data)):
        bent = bytearray(data)
        bent[bit // 8] ^= 1 << bit % 8
        assert kept.unpack(bytes(bent)) == (0, {})


def test_a_folder_that_cannot_be_written_stops_nothing(tmp_path: Path) -> None:
    lost = kept.Kept(str(tmp_path / "nowhere"))
    assert not lost.save({"south": (1, 1)})
    assert lost.orders == {}


# -- packets


def session(**more: Any) -> Any:
    told = {"client_id": "n", "user": "", "password": "", "topics": [("v/lease", 0)], "now_ms": 0}
    return mqtt5.Session(**(told | more))


def test_a_message_comes_in_whatever_pieces_it_arrives() -> None:
    one = session()
    topic, payload = b"v/lease", b'{"a": 1}'
    body = len(topic).to_bytes(2, "big") + topic + b"\0" + payload
    stream = CONNACK + SUBACK + b"\x30" + bytes((len(body),)) + body
    for byte in stream:
        one.feed(bytes((byte,)), 1)
    assert one.is_ready
    assert one.messages == [("v/lease", payload, False)]


def test_properties_are_skipped_qos_1_is_acknowledged_and_the_kept_flag_is_told() -> None:
    one = session()
    one.feed(CONNACK + SUBACK, 1)
    one.out = bytearray()
    body = b"\0\x01t" + b"\x12\x34" + b"\x05\x02\0\0\0\x09" + b"{}"
    one.feed(b"\x33" + bytes((len(body),)) + body, 2)
    assert one.messages == [("t", b"{}", True)]
    assert bytes(one.out) == b"\x40\x02\x12\x34"


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(bytes.fromhex("2003008700"), id="not-authorised"),
        pytest.param(b"\x30\xff\xff\x7f", id="too-large"),
        pytest.param(b"\x30\xff\xff\xff\xff\x01", id="length-without-end"),
        pytest.param(b"\x30\x02\0\x09", id="cut-short"),
        pytest.param(b"\x34\x06\0\x01t\0\x01\0", id="qos-2"),
        pytest.param(b"\xe0\0", id="broker-leaves"),
        pytest.param(b"\x20\x01\0", id="short-answer"),
    ],
)
def test_what_a_broker_should_not_say_ends_the_connection(data: bytes) -> None:
    with pytest.raises(mqtt5.MqttError):
        session().feed(data, 1)


def test_a_silent_broker_is_asked_and_then_given_up() -> None:
    one = session()
    one.feed(CONNACK + SUBACK, 0)
    one.out = bytearray()
    one.keep_alive(mqtt5.KEPT_ALIVE_MS - 1)
    assert not one.out
    one.keep_alive(mqtt5.KEPT_ALIVE_MS)
    assert bytes(one.out) == b"\xc0\0"
    one.feed(b"\xd0\0", 6_000)
    one.keep_alive(20_999)
    with pytest.raises(mqtt5.MqttError):
        one.keep_alive(21_000)


def test_no_more_than_eight_messages_are_on_their_way() -> None:
    one = session()
    one.feed(CONNACK + SUBACK, 0)
    for _ in range(mqtt5.IN_FLIGHT_MOST):
        assert one.can_publish
        one.publish("t", b"x", 1)
    assert not one.can_publish
    one.feed(b"\x40\x02\0\x01", 1)
    assert one.can_publish


def test_a_link_that_takes_nothing_is_given_up_in_bounded_memory() -> None:
    one = session()
    fits = mqtt5.OUT_MOST // 110
    for _ in range(fits - 1):
        one.publish("t", b"x" * 100, 0)
    with pytest.raises(mqtt5.MqttError):
        one.publish("t", b"x" * 400, 0)
    assert len(one.out) <= mqtt5.OUT_MOST


# -- the link


def test_where_nobody_listens_it_tries_with_growing_uneven_pauses() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    way = link.Link(("127.0.0.1", port), lambda ms: session(now_ms=ms), lambda: 128)
    begun, now_ms = [], 0
    while now_ms < 120_000:
        before = way._again_ms
        assert way.step(now_ms) == []
        if way._again_ms != before:
            begun.append(now_ms)
        now_ms += 50
    pauses = [after - before for before, after in pairwise(begun)]
    assert 5 <= len(begun) <= 15
    assert pauses == sorted(pauses)
    assert pauses[-1] <= link.MOST_PAUSE_MS + 100


def test_no_step_waits_for_a_broker_that_says_nothing() -> None:
    with socket.socket() as mute:
        mute.bind(("127.0.0.1", 0))
        mute.listen()
        way = link.Link(mute.getsockname(), lambda ms: session(now_ms=ms), lambda: 0)
        begun_s = time.monotonic()
        for now_ms in range(0, 20_000, 10):
            way.step(now_ms)
        assert not way.is_ready
        assert way.why_lost == "the broker is silent"
        assert time.monotonic() - begun_s < 10.0  # 2000 steps
        way.close()


# -- the round


class NoLink:
    """A link that hands over what a test puts in, and keeps what is said."""

    def __init__(self) -> None:
        self.is_ready = True
        self.comes: list[tuple[str, bytes, bool]] = []
        self.said: list[tuple[str, dict[str, Any]]] = []

    def step(self, now_ms: int) -> list[tuple[str, bytes, bool]]:
        comes, self.comes = self.comes, []
        return comes

    def publish(self, topic: str, payload: bytes, qos: int) -> bool:
        assert qos == 1
        self.said.append((topic, json.loads(payload)))
        return True

    def nonce(self, name: str) -> str:
        return str([told for topic, told in self.said if f"/{name}/state" in topic][-1]["nonce"])


class Round:
    """A valve node of two valves and a meter on a desk, its time in our hands."""

    def __init__(self, folder: Path) -> None:
        self.real_ms = 0
        self.link = NoLink()
        names = ("south", "master")
        self.truth: list[dict[str, Any]] = []
        self.board = desk.DeskBoard(
            lambda: self.real_ms, 1, names, lambda line: self.truth.append(json.loads(line))
        )
        self.kept = kept.Kept(str(folder))
        self.loop = loop.ValveLoop(
            self.board, self.link, lambda: self.real_ms, self.kept, names, "t", "main"
        )
        self.run(61_000)

    def run(self, ms: int) -> None:
        for _ in range(ms // 100):
            self.real_ms += 100
            self.loop.step()

    def lease(self, name: str, seq: int, open_s: int = 90) -> None:
        told = {"open_s": open_s, "dose": "d", "epoch": 1, "seq": seq}
        told["nonce"] = self.link.nonce(name)
        self.link.comes.append((f"t/valve/{name}/lease", json.dumps(told).encode(), False))
        self.run(100)


@pytest.fixture
def node(tmp_path: Path) -> Round:
    return Round(tmp_path)


def test_a_lease_drives_its_own_output_and_the_meter_is_told(node: Round) -> None:
    node.lease("master", 1)
    node.lease("south", 2)
    assert node.board.on == [True, True]
    node.run(30_000)
    totals = [told["pulses_total"] for topic, told in node.link.said if topic == "t/meter/main"]
    assert totals[-1] == pytest.approx(0.4 * 30, abs=2)
    node.run(70_000)
    assert node.board.on == [False, False]
    last = {told["open"] for topic, told in node.link.said[-4:] if "state" in topic}
    assert last == {False}


def test_every_valve_speaks_at_once_when_the_link_is_back(node: Round) -> None:
    node.link.is_ready = False
    node.run(5_000)
    node.link.said.clear()
    node.link.is_ready = True
    node.run(100)
    assert [topic for topic, _ in node.link.said] == ["t/valve/south/state", "t/valve/master/state"]


def test_a_lost_link_lets_the_lease_run_out_and_no_longer(node: Round) -> None:
    node.lease("south", 1, 30)
    node.link.is_ready = False
    node.run(29_800)
    assert node.board.on[0]
    node.run(300)
    assert not node.board.on[0]


def test_a_counter_that_goes_back_closes_everything(node: Round) -> None:
    node.lease("south", 1)
    assert node.board.on[0]
    node.real_ms -= 5_000
    node.loop.step()
    assert not node.board.on[0]


def test_the_order_is_kept_at_the_first_lease_of_an_epoch_and_at_an_end(node: Round) -> None:
    node.lease("south", 1)
    assert node.kept.orders == {"south": (1, 1)}
    node.lease("south", 2)
    assert node.kept.orders == {"south": (1, 1)}
    node.link.comes.append(("t/valve/south/close", b"", False))
    node.run(100)
    assert node.kept.orders == {"south": (1, 2)}


def test_the_coils_beat_only_while_something_is_open_and_the_dog_is_fed_each_round(
    node: Round,
) -> None:
    assert node.board.beats == 0
    feeds = node.board.feeds
    node.lease("south", 1)
    node.run(1_000)
    assert node.board.beats >= 10
    assert node.board.feeds == feeds + 11


# -- on the small interpreter


def test_boot_touches_the_outputs_before_anything_else() -> None:
    lines = (NODE / "boot.py").read_text(encoding="utf-8").splitlines()
    code = [line for line in lines[2:] if line]
    assert code[:2] == ["from machine import Pin", "from pins import OFF_LEVEL, VALVE_PINS"]
    assert len(code) == 4
    pins = (NODE / "pins.py").read_text(encoding="utf-8")
    assert "import" not in pins


def small(*words: str) -> subprocess.CompletedProcess[str]:
    """Run something with the small interpreter's desktop port."""
    code = "import sys, micropython_unix; sys.exit(micropython_unix.main())"
    return subprocess.run(
        [sys.executable, "-c", code, *words],
        cwd=NODE, capture_output=True, text=True, timeout=120.0, check=False,
    )  # fmt: skip


def test_the_list_of_contract_cases_holds_on_the_small_interpreter() -> None:
    pytest.importorskip("micropython_unix")
    done = small("selfcheck.py")
    assert " 0 failed" in done.stdout, done.stdout + done.stderr
    assert "heap in use" in done.stdout


@pytest.mark.parametrize("module", ["kept", "link", "loop", "meter", "mqtt5", "probe", "desk"])
def test_every_part_loads_on_the_small_interpreter(module: str) -> None:
    pytest.importorskip("micropython_unix")
    done = small("-c", f"import lease_node.{module}; print('loaded')")
    assert "loaded" in done.stdout, done.stdout + done.stderr


# -- boot.py and main.py over made-up pins


def shim(role: str, port: int, pace: int, folder: Path) -> list[dict[str, Any]]:
    """What the board was told, in order."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.node_shim", role, str(port), str(pace), str(folder)],
        cwd=NODE.parents[1], capture_output=True, text=True, timeout=60.0, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def closed_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port: int = taken.getsockname()[1]
        return port


def test_a_valve_node_starts_with_its_outputs_off_and_goes_round_without_a_broker(
    tmp_path: Path,
) -> None:
    told = shim("valves", closed_port(), 1, tmp_path)
    outputs = firmware("pins").VALVE_PINS
    assert told[: len(outputs)] == [{"pin": n, "mode": 1, "value": 0} for n in outputs]
    assert {"watchdog_ms": 8000} in told
    assert {"rounds": 400} in told
    assert all(line["value"] == 0 for line in told if line.get("pin") in outputs)


def test_a_probe_node_that_reaches_nobody_sleeps_after_20_s(tmp_path: Path) -> None:
    told = shim("probe", closed_port(), 20, tmp_path)
    (sleep,) = [line["sleep_ms"] for line in told if "sleep_ms" in line]
    assert 570_000 < sleep < 580_100
    assert {"radio": False} in told
    assert [line["value"] for line in told if line.get("pin") == 25] == [0, 1, 0]  # probes fed
