"""The link and the virtual nodes over a real broker that stops, freezes and forgets."""

from __future__ import annotations

import json
import random
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from controller import noisy
from controller.effects import Alert, Close, Lease
from controller.errors import LinkError
from controller.events import (
    ForeignController,
    LinkDown,
    LinkUp,
    MeterReading,
    ProbeReading,
    ValveReport,
    WeatherReading,
)
from controller.link import MqttLink
from sim.bench import Bench
from tests.end_to_end.noise import Pourer, published
from tests.end_to_end.wire_bench import (
    BareWorld,
    Heard,
    ScaledClock,
    Stranger,
    garden_at,
    until,
)

if TYPE_CHECKING:
    from tests.end_to_end.conftest import Mosquitto

pytestmark = pytest.mark.broker

ROOT = "thirstline/plot"
STATE = {
    "open": False, "left_s": 0, "dose": "", "nonce": "n1", "boot": "b1", "epoch": 0, "seq": 0,
    "contract": 1, "fw": "test",
}  # fmt: skip


class Rig:
    """A link, what it delivered, and on demand a stranger and a bench."""

    def __init__(self, broker: Mosquitto, folder: Path, ends: ExitStack) -> None:
        self.broker, self.folder, self._ends = broker, folder, ends
        self.garden = garden_at(broker.url, folder)

    def link(self, speed: float = 1.0, clock: ScaledClock | None = None) -> tuple[MqttLink, Heard]:
        heard = Heard()
        link = MqttLink(
            self.garden, clock or ScaledClock(speed), heard, speed=speed, rng=random.Random(4)
        )
        link.start()
        self._ends.callback(link.stop)
        heard.wait(LinkUp)
        return link, heard

    def stranger(self) -> Stranger:
        stranger = Stranger(self.broker.url)
        self._ends.callback(stranger.leave)
        return stranger

    def bench(self, clock: ScaledClock, speed: float, truth: Path | None = None) -> Bench:
        bench = Bench(self.garden, BareWorld(), clock, speed=speed, truth_path=truth)
        self._ends.callback(bench.stop)
        return bench.start()


@pytest.fixture
def rig(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[Rig]:
    with ExitStack() as ends:
        yield Rig(mosquitto, tmp_path, ends)


def lease(valve: str, seq: int, open_s: int = 90) -> Lease:
    return Lease(valve=valve, open_s=open_s, dose="d1", epoch=1, seq=seq)


def accepted(link: MqttLink, heard: Heard, one: Lease, seconds: float = 5.0) -> bool:
    """Send until it goes out and the node tells it open."""
    sent = until(lambda: link.send_lease(one), seconds)
    return sent and until(
        lambda: any(
            r.open and r.seq == one.seq and r.valve == one.valve for r in heard.of(ValveReport)
        ),
        seconds,
    )


def test_readings_of_every_form_arrive_as_events(rig: Rig) -> None:
    clock = ScaledClock(20.0)
    link, heard = rig.link(20.0, clock)
    rig.bench(clock, 20.0)
    assert until(lambda: {r.probe for r in heard.of(ProbeReading)} == {"plain", "json", "pack"})
    values = {r.probe: r.value for r in heard.of(ProbeReading)}
    assert values["plain"] == 0.231
    assert values["pack"] == 23.1
    assert values["json"] == pytest.approx(2900 - 1550 * (0.231 - 0.04) / 0.38, abs=0.5)
    heard.wait(WeatherReading)
    heard.wait(MeterReading)
    assert {r.valve for r in heard.wait(ValveReport, 2)} == {"south", "master"}
    assert link.counters.readings >= 5
    assert link.counters.rejected == {}


@pytest.mark.hazard("B2")
def test_second_connection_subscribes_again_after_a_broker_restart(rig: Rig) -> None:
    link, heard = rig.link()
    rig.broker.kill()
    heard.wait(LinkDown)
    assert not link.online
    rig.broker.start()
    heard.wait(LinkUp, 2, seconds=20.0)
    stranger = rig.stranger()
    stranger.say(f"{ROOT}/probe/plain", b"0.25")
    assert heard.wait(ProbeReading)[0].value == 0.25
    assert link.is_working()


@pytest.mark.hazard("B2")
def test_third_connection_works_like_the_second(rig: Rig) -> None:
    _, heard = rig.link()
    for count in (2, 3):
        rig.broker.stop()
        heard.wait(LinkDown, count - 1)
        rig.broker.start()
        heard.wait(LinkUp, count, seconds=20.0)
    rig.stranger().say(f"{ROOT}/probe/plain", b"0.25")
    heard.wait(ProbeReading)


def test_water_flows_only_while_master_and_bed_hold_a_lease(rig: Rig, tmp_path: Path) -> None:
    clock, truth = ScaledClock(30.0), tmp_path / "truth.jsonl"
    link, heard = rig.link(30.0, clock)
    bench = rig.bench(clock, 30.0, truth)
    assert accepted(link, heard, lease("south", 1))
    assert bench.nodes.litres("south") == 0.0  # the master is closed
    assert accepted(link, heard, lease("master", 1))
    assert until(lambda: bench.nodes.litres("south") > 0.1)
    assert until(lambda: not bench.nodes.is_open("south"))  # nobody renewed
    assert until(lambda: not bench.nodes.is_open("master"))
    lines = [json.loads(line) for line in truth.read_text().splitlines()]
    edges = [line for line in lines if line["valve"] == "south"]
    opened = next(line["node_s"] for line in edges if line["open"])
    closed = next(line for line in edges if not line["open"] and line["node_s"] > opened)
    assert closed["node_s"] - opened == pytest.approx(90.0, abs=0.01)
    assert closed["litres"] <= 1.6 * 90.0 / 60.0
    gaps = [b["node_s"] - a["node_s"] for a, b in pairwise(edges) if a["open"]]
    assert max(gaps) <= 5.01


def test_close_is_obeyed_and_its_repeats_end_with_the_confirmation(rig: Rig) -> None:
    clock = ScaledClock(10.0)
    link, heard = rig.link(10.0, clock)
    bench = rig.bench(clock, 10.0)
    stranger = rig.stranger()
    assert accepted(link, heard, lease("south", 1))
    link.send_close(Close(valve="south", dose="d1"))
    assert until(lambda: not bench.nodes.is_open("south"), 2.0)
    assert until(lambda: not heard.of(ValveReport)[-1].open)
    time.sleep(0.5)  # two repeats would fit
    count = len(stranger.on(f"{ROOT}/valve/south/close"))
    time.sleep(0.5)
    assert len(stranger.on(f"{ROOT}/valve/south/close")) == count
    assert count >= 1


@pytest.mark.hazard("V5")
def test_close_is_repeated_while_nobody_confirms(rig: Rig) -> None:
    link, _ = rig.link(10.0)
    stranger = rig.stranger()
    link.send_close(Close(valve="south"))
    assert until(lambda: len(stranger.on(f"{ROOT}/valve/south/close")) >= 4, 3.0)


def test_close_ordered_while_the_link_is_down_goes_out_when_it_is_back(rig: Rig) -> None:
    link, heard = rig.link()
    rig.broker.stop()
    heard.wait(LinkDown)
    link.send_close(Close(valve="south"))
    rig.broker.start()
    stranger = rig.stranger()
    heard.wait(LinkUp, 2, seconds=20.0)
    assert until(lambda: stranger.on(f"{ROOT}/valve/south/close") != [], 5.0)


@pytest.mark.hazard("V6", "B3")
def test_lease_in_a_frozen_broker_arrives_late_and_is_refused_by_the_node(rig: Rig) -> None:
    speed = 60.0
    clock = ScaledClock(speed)
    link, heard = rig.link(speed, clock)
    bench = rig.bench(clock, speed)
    stranger = rig.stranger()
    assert accepted(link, heard, lease("south", 1, open_s=60))
    assert until(lambda: not bench.nodes.is_open("south"))
    assert until(lambda: link.online)
    sent = False
    for seq in range(10, 60):  # until one is surely on its way with the broker frozen behind it
        rig.broker.pause()
        sent = link.send_lease(lease("south", seq))
        if sent:
            break
        rig.broker.resume()
        time.sleep(0.05)
    assert sent
    before = len(stranger.on(f"{ROOT}/valve/south/lease"))
    time.sleep(2.0)  # 120 s of garden time: longer than any nonce lives
    heard.wait(LinkDown)
    rig.broker.resume()
    assert until(lambda: len(stranger.on(f"{ROOT}/valve/south/lease")) > before, 5.0)
    late = json.loads(stranger.on(f"{ROOT}/valve/south/lease")[before])
    assert late["seq"] >= 10  # the broker did deliver it
    time.sleep(0.5)
    assert not bench.nodes.is_open("south")
    assert bench.nodes.node("south").state(clock.mono_s())["seq"] == 1


@pytest.mark.hazard("B6")
def test_nothing_ordered_during_an_outage_opens_later(rig: Rig) -> None:
    link, heard = rig.link()
    stranger = rig.stranger()
    stranger.say(f"{ROOT}/valve/south/state", STATE)
    heard.wait(ValveReport)
    rig.broker.stop()
    heard.wait(LinkDown)
    assert [link.send_lease(lease("south", n)) for n in range(1, 20)] == [False] * 19
    rig.broker.start()
    heard.wait(LinkUp, 2, seconds=20.0)
    listener = rig.stranger()
    time.sleep(1.0)
    opening = [p for p in listener.on(f"{ROOT}/valve/south/lease") if p]
    opening += [p for p in stranger.on(f"{ROOT}/valve/south/lease") if p]
    assert opening == []
    assert not link.send_lease(lease("south", 20))  # its nonce came before the outage


def test_lease_without_a_nonce_or_with_a_close_pending_is_not_sent(rig: Rig) -> None:
    link, heard = rig.link()
    assert not link.send_lease(lease("south", 1))
    stranger = rig.stranger()
    stranger.say(f"{ROOT}/valve/south/state", STATE)
    heard.wait(ValveReport)
    assert link.send_lease(lease("south", 1))
    assert not link.send_lease(lease("south", 2, open_s=121))
    link.send_close(Close(valve="south"))
    assert not link.send_lease(lease("south", 3))
    stranger.say(f"{ROOT}/valve/south/state", {**STATE, "nonce": "n2", "seq": 0})
    heard.wait(ValveReport, 2)
    assert not link.send_lease(lease("south", 4))  # seq 1 may still be on its way
    stranger.say(f"{ROOT}/valve/south/state", {**STATE, "nonce": "n3", "epoch": 1, "seq": 1})
    heard.wait(ValveReport, 3)
    assert link.send_lease(lease("south", 5))


def test_node_of_another_contract_is_never_opened(rig: Rig) -> None:
    link, heard = rig.link()
    rig.stranger().say(f"{ROOT}/valve/south/state", {**STATE, "contract": 2})
    assert heard.wait(ValveReport)[0].contract == 2
    assert not link.send_lease(lease("south", 1))


@pytest.mark.hazard("B4")
def test_retained_messages_change_nothing_and_ghosts_are_cleaned(rig: Rig) -> None:
    first = rig.stranger()
    ghost = {"open_s": 90, "dose": "d", "epoch": 9, "seq": 9, "nonce": "n1"}
    first.say(f"{ROOT}/valve/south/lease", ghost, retain=True)
    first.say(f"{ROOT}/probe/plain", b"0.05", retain=True)
    first.say(f"{ROOT}/valve/south/state", {**STATE, "open": True}, retain=True)
    clock = ScaledClock()
    bench = rig.bench(clock, 1.0)  # the ghost reaches the node when it subscribes
    time.sleep(0.3)
    assert not bench.nodes.is_open("south")
    link, heard = rig.link(clock=clock)
    time.sleep(0.5)
    assert 0.05 not in [r.value for r in heard.of(ProbeReading)]
    assert not any(r.open for r in heard.of(ValveReport))
    newcomer = rig.stranger()
    time.sleep(0.3)
    assert newcomer.on(f"{ROOT}/valve/south/lease") == []
    assert link.online


@pytest.mark.hazard("B7")
def test_garbage_storm_leaves_counters_only(rig: Rig, caplog: pytest.LogCaptureFixture) -> None:
    link, heard = rig.link()
    stranger = rig.stranger()
    rng = random.Random(8)
    kinds = ["probe/plain", "probe/json", "probe/pack", "valve/south/state", "meter/main",
             "weather/mast", "outlook", "controller/state", "controller/canary"]  # fmt: skip
    before = len(heard.events)
    for number in range(900):
        payload = rng.randbytes(rng.randrange(40)) + b"\x00"
        stranger.say(f"{ROOT}/{kinds[number % len(kinds)]}", payload, qos=0)
    stranger.say(f"{ROOT}/probe/plain", b"[" * 3000, qos=0)
    stranger.say(f"{ROOT}/probe/plain", b"x" * 5000, qos=0)  # the broker drops it
    stranger.say(f"{ROOT}/probe/plain", b"0.3")
    assert heard.wait(ProbeReading)[-1].value == 0.3
    assert len(heard.events) == before + 1
    rejected = link.counters.rejected
    assert rejected["state/south"] == 100
    assert rejected["probe/plain"] == 101
    lines = [r for r in caplog.records if "was refused" in r.message]
    assert len(lines) == len(kinds)
    assert link.online


@pytest.mark.hazard("B8")
def test_flood_on_one_topic_does_not_hold_up_closes(rig: Rig) -> None:
    link, _ = rig.link()
    stranger = rig.stranger()
    flood = Stranger(rig.broker.url, "none")

    def pour() -> None:
        for _ in range(20_000):
            flood.say(f"{ROOT}/probe/plain", b"0.3", qos=0)

    busy = threading.Thread(target=pour)
    busy.start()
    time.sleep(0.2)
    begun_s = time.monotonic()
    link.send_close(Close(valve="south"))
    assert until(lambda: stranger.on(f"{ROOT}/valve/south/close") != [], 5.0)
    assert time.monotonic() - begun_s < 2.0
    busy.join(60.0)
    flood.leave()
    assert link.counters.readings <= 200 + 60  # the burst, and one a second


@pytest.mark.hazard("B8")
def test_a_flooded_topic_stays_at_the_broker_and_is_heard_again(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(noisy, "REST_S", 2.0)
    link, heard = rig.link()
    topic, many = f"{ROOT}/probe/plain", 20_000
    with Pourer(rig.broker.port) as pourer:
        pourer.pour((published(topic, b"0.3") for _ in range(many)), many / 5.0)
    counted = link.counters
    assert counted.left[topic] >= 1
    assert counted.readings + counted.ignored < many / 4
    stranger, told = rig.stranger(), iter(range(100))
    assert until(lambda: (stranger.say(topic, 0.2 + next(told) / 1e3), time.sleep(0.2),
                          heard.of(ProbeReading)[-1].value < 0.3)[-1], 10.0)  # fmt: skip
    assert link.online


@pytest.mark.hazard("B5")
def test_receiver_that_fails_does_not_end_the_link(rig: Rig, mosquitto: Mosquitto) -> None:
    calls: list[str] = []

    def deliver(event: object) -> None:
        calls.append(type(event).__name__)
        raise RuntimeError("the receiver fails")

    link = MqttLink(rig.garden, ScaledClock(), deliver, rng=random.Random(1))
    link.start()
    try:
        assert until(lambda: "LinkUp" in calls)
        stranger = rig.stranger()
        stranger.say(f"{ROOT}/probe/plain", b"0.3")
        stranger.say(f"{ROOT}/probe/plain", b"0.4")
        assert until(lambda: calls.count("ProbeReading") == 2)
        assert link.online
    finally:
        link.stop()


def test_idle_valve_is_news_once_a_minute_but_its_nonce_always_counts(rig: Rig) -> None:
    link, heard = rig.link()
    stranger = rig.stranger()
    for number in range(5):
        stranger.say(f"{ROOT}/valve/south/state", {**STATE, "nonce": f"n{number}"})
    stranger.say(f"{ROOT}/probe/plain", b"0.3")
    heard.wait(ProbeReading)
    assert len(heard.of(ValveReport)) == 1
    assert link.send_lease(lease("south", 1))
    assert until(lambda: stranger.on(f"{ROOT}/valve/south/lease") != [])
    sent = json.loads(stranger.on(f"{ROOT}/valve/south/lease")[-1])
    assert sent == {"open_s": 90, "dose": "d1", "epoch": 1, "seq": 1, "nonce": "n4"}


def test_state_says_up_after_the_announcement_and_gone_after_a_clean_end(rig: Rig) -> None:
    link, _ = rig.link()
    early = rig.stranger()
    time.sleep(0.5)
    assert early.on(f"{ROOT}/controller/state") == []
    link.announce(12)
    newcomer = rig.stranger()
    assert until(lambda: newcomer.on(f"{ROOT}/controller/state") != [])
    said = json.loads(newcomer.on(f"{ROOT}/controller/state")[0])
    assert (said["state"], said["epoch"]) == ("up", 12)
    assert said["at"].endswith("Z")
    begun_s = time.monotonic()
    link.stop()
    assert time.monotonic() - begun_s < 2.0
    assert not link.is_working()
    last = rig.stranger()
    assert until(lambda: last.on(f"{ROOT}/controller/state") == [b'{"state": "gone"}'])


@pytest.mark.hazard("B9", "B10", "C7")
@pytest.mark.parametrize(
    ("said", "foreign"),
    [
        pytest.param({"state": "up", "epoch": 13}, [13], id="higher-epoch"),
        pytest.param({"state": "up", "epoch": 11}, [11], id="lower-epoch"),
        pytest.param({"state": "up", "epoch": 12, "run": "another"}, [12], id="cloned-card"),
        pytest.param({"state": "up", "epoch": 12}, [], id="ours"),
        pytest.param({"state": "gone"}, [], id="gone"),
    ],
)
def test_another_controller_is_heard(rig: Rig, said: dict[str, object], foreign: list[int]) -> None:
    link, heard = rig.link()
    link.announce(12)
    stranger = rig.stranger()
    stranger.say(f"{ROOT}/controller/state", said)
    stranger.say(f"{ROOT}/probe/plain", b"0.3")
    heard.wait(ProbeReading)
    assert [event.epoch for event in heard.of(ForeignController)] == foreign


def test_epoch_of_one_before_us_is_heard_in_the_quiet_start(rig: Rig) -> None:
    rig.stranger().say(f"{ROOT}/controller/state", {"state": "up", "epoch": 41}, retain=True)
    _, heard = rig.link()
    assert heard.wait(ForeignController)[0].epoch == 41


def test_alerts_stand_retained_and_come_back_after_a_restart(rig: Rig) -> None:
    link, heard = rig.link()
    alert = Alert(
        id="a1", code="leak", since_utc_s=1_782_864_000.0, text="water runs", person_needed=True
    )
    link.publish_alerts([alert])
    first = rig.stranger()
    assert until(lambda: first.on(f"{ROOT}/alert") != [])
    rig.broker.kill()
    heard.wait(LinkDown)
    rig.broker.start()
    heard.wait(LinkUp, 2, seconds=20.0)
    newcomer = rig.stranger()
    assert until(lambda: newcomer.on(f"{ROOT}/alert") != [])
    assert json.loads(newcomer.on(f"{ROOT}/alert")[0]) == [
        {
            "id": "a1", "code": "leak", "bed": None, "valve": None, "probe": None,
            "since": "2026-07-01T00:00:00.000Z", "text": "water runs", "person_needed": True,
        }
    ]  # fmt: skip


def test_many_alerts_stay_below_the_packet_limit(rig: Rig) -> None:
    link, _ = rig.link()
    alerts = [
        Alert(id=f"a{n}", code="leak", since_utc_s=0.0, text="x" * 200, person_needed=n == 39)
        for n in range(40)
    ]
    link.publish_alerts(alerts)
    newcomer = rig.stranger()
    assert until(lambda: newcomer.on(f"{ROOT}/alert") != [])
    said = json.loads(newcomer.on(f"{ROOT}/alert")[0])
    assert said[0]["id"] == "a39"
    assert 5 < len(said) < 40
    assert link.online


@pytest.mark.hazard("B5")
def test_frozen_broker_is_found_by_the_canary(rig: Rig) -> None:
    link, heard = rig.link(90.0)  # 45 s are half a second
    begun_s = time.monotonic()
    rig.broker.pause()
    heard.wait(LinkDown, seconds=3.0)
    assert time.monotonic() - begun_s >= 0.2
    assert not link.online
    rig.broker.resume()
    heard.wait(LinkUp, 2, seconds=20.0)


@pytest.mark.hazard("B1")
def test_leases_run_out_when_the_broker_is_gone(rig: Rig) -> None:
    clock = ScaledClock(30.0)
    link, heard = rig.link(30.0, clock)
    bench = rig.bench(clock, 30.0)
    assert accepted(link, heard, lease("master", 1, open_s=120))
    rig.broker.kill()
    assert bench.nodes.is_open("master")
    assert until(lambda: not bench.nodes.is_open("master"), 6.0)
    rig.broker.start()
    heard.wait(LinkUp, 2, seconds=20.0)
    assert until(lambda: accepted(link, heard, lease("master", 2)), 10.0)


def test_bench_closes_all_valves_at_its_end_and_says_so(rig: Rig) -> None:
    clock = ScaledClock()
    link, heard = rig.link(clock=clock)
    bench = rig.bench(clock, 1.0)
    assert accepted(link, heard, lease("south", 1))
    bench.stop()
    assert not bench.nodes.is_open("south")
    assert until(lambda: not heard.of(ValveReport)[-1].open)


@pytest.mark.parametrize(
    "url",
    [
        pytest.param("http://127.0.0.1:1883", id="scheme"),
        pytest.param("mqtt://", id="no-host"),
        pytest.param("mqtt://127.0.0.1:99999", id="port"),
        pytest.param("builtin", id="not-started"),
    ],
)
def test_bad_url_is_a_clean_error(url: str, tmp_path: Path) -> None:
    garden = garden_at("mqtt://127.0.0.1:1883", tmp_path)
    with pytest.raises(LinkError, match=r"broker\.url"):
        MqttLink(garden, ScaledClock(), Heard(), url=url)
