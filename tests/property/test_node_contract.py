"""The node's side of the wire's contract, line by line and under random scripts."""

from __future__ import annotations

import json
from dataclasses import dataclass, field

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sim.nodes import MeterNode, ProbeNode, ValveNode

LEASE_MOST_S = 120
NONCE_LIFE_S = 45.0
CEILING_S = 5700.0
REST_S = 60.0


def opened(node: ValveNode) -> bool:
    return node.is_open


def fresh(node: ValveNode, now_s: float) -> str:
    return str(node.state(now_s)["nonce"])


def lease(node: ValveNode, now_s: float, *, seq: int, nonce: str, **change: object) -> bool:
    told = {"open_s": 90, "dose": "d", "epoch": 1, "seq": seq, "nonce": nonce, **change}
    return node.hear("lease", json.dumps(told).encode(), retained=False, now_s=now_s)


@pytest.fixture
def node() -> ValveNode:
    return ValveNode("south", seed=7, now_s=0.0)


def test_node_tells_its_contract_and_all_that_the_wire_names(node: ValveNode) -> None:
    state = node.state(0.0)
    assert state["contract"] == 1
    assert {"open", "left_s", "dose", "nonce", "boot", "epoch", "seq", "contract", "fw"} == set(
        state
    )
    assert (state["open"], state["left_s"], state["dose"]) == (False, 0, "")
    assert (state["epoch"], state["seq"]) == (0, 0)


@pytest.mark.hazard("V11")
def test_node_is_closed_at_boot_and_tells_so_at_once(node: ValveNode) -> None:
    assert not opened(node)
    assert node.has_news(0.0)
    assert lease(node, 1.0, seq=1, nonce=fresh(node, 0.0))
    node.reboot(2.0)
    assert not opened(node)
    assert node.has_news(2.0)


@pytest.mark.hazard("V5")
def test_fresh_lease_opens_and_lapses_at_its_second(node: ValveNode) -> None:
    assert lease(node, 1.0, seq=1, nonce=fresh(node, 0.0))
    node.advance(90.999)
    assert opened(node)
    node.advance(91.0)
    assert not opened(node)
    assert node.has_news(91.0)


def test_close_shuts_at_once_and_is_always_obeyed(node: ValveNode) -> None:
    lease(node, 1.0, seq=1, nonce=fresh(node, 0.0))
    assert node.hear("close", b"", retained=False, now_s=2.0)
    assert not opened(node)
    lease(node, 4.0, seq=2, nonce=fresh(node, 3.0))
    assert node.hear("close", b'{"dose": "another"}', retained=True, now_s=5.0)
    assert not opened(node)
    lease(node, 7.0, seq=3, nonce=fresh(node, 6.0))
    assert node.hear("close", b"\xff garbage", retained=False, now_s=8.0)
    assert not opened(node)


@pytest.mark.hazard("V6")
@pytest.mark.parametrize(
    ("age_s", "opens"),
    [
        pytest.param(44.9, True, id="just-below"),
        pytest.param(45.0, True, id="on-the-limit"),
        pytest.param(45.1, False, id="just-above"),
    ],
)
def test_nonce_lives_45_s(node: ValveNode, age_s: float, opens: bool) -> None:
    nonce = fresh(node, 10.0)
    assert lease(node, 10.0 + age_s, seq=1, nonce=nonce) is opens
    assert opened(node) is opens


@pytest.mark.hazard("V6", "B9")
def test_unknown_nonce_is_refused(node: ValveNode) -> None:
    fresh(node, 0.0)
    assert not lease(node, 1.0, seq=1, nonce="000000000000")


@pytest.mark.hazard("V6")
def test_nonce_of_an_earlier_boot_is_refused(node: ValveNode) -> None:
    nonce = fresh(node, 0.0)
    node.reboot(1.0)
    assert not lease(node, 2.0, seq=1, nonce=nonce)


def test_one_nonce_serves_several_leases_of_rising_order(node: ValveNode) -> None:
    nonce = fresh(node, 0.0)
    assert lease(node, 1.0, seq=1, nonce=nonce)
    assert lease(node, 20.0, seq=2, nonce=nonce)


@pytest.mark.parametrize(
    "open_s",
    [
        pytest.param(0, id="zero"),
        pytest.param(-1, id="negative"),
        pytest.param(121, id="more-than-120"),
        pytest.param(5400, id="an-hour-and-a-half"),
        pytest.param(90.0, id="float"),
        pytest.param(True, id="boolean"),
        pytest.param("90", id="text"),
        pytest.param(None, id="null"),
    ],
)
def test_lease_that_is_no_whole_number_from_1_to_120_is_refused_not_clipped(
    node: ValveNode, open_s: object
) -> None:
    assert not lease(node, 1.0, seq=1, nonce=fresh(node, 0.0), open_s=open_s)
    assert not opened(node)


@pytest.mark.parametrize("open_s", [pytest.param(1, id="one"), pytest.param(120, id="longest")])
def test_lease_ends_are_included(node: ValveNode, open_s: int) -> None:
    assert lease(node, 1.0, seq=1, nonce=fresh(node, 0.0), open_s=open_s)
    node.advance(1.0 + open_s - 0.001)
    assert opened(node)
    node.advance(1.0 + open_s)
    assert not opened(node)


@pytest.mark.hazard("V7", "C7")
@pytest.mark.parametrize(
    ("epoch", "seq", "taken"),
    [
        pytest.param(5, 10, False, id="same"),
        pytest.param(5, 9, False, id="lower-seq"),
        pytest.param(5, 11, True, id="higher-seq"),
        pytest.param(4, 99, False, id="older-epoch"),
        pytest.param(6, 1, True, id="newer-epoch-starts-at-1"),
    ],
)
def test_epoch_then_sequence_must_rise(epoch: int, seq: int, taken: bool) -> None:
    node = ValveNode("south", 7, 0.0, epoch=5, seq=10)
    told = lease(node, 1.0, seq=seq, nonce=fresh(node, 0.0), epoch=epoch)
    assert told is taken


def test_refused_lease_does_not_raise_the_order(node: ValveNode) -> None:
    nonce = fresh(node, 0.0)
    assert not lease(node, 1.0, seq=50, nonce=nonce, open_s=500)
    assert lease(node, 2.0, seq=1, nonce=nonce)


def test_order_survives_a_reboot(node: ValveNode) -> None:
    assert lease(node, 1.0, seq=9, nonce=fresh(node, 0.0))
    node.reboot(2.0)
    assert not lease(node, 4.0, seq=9, nonce=fresh(node, 3.0))
    assert lease(node, 5.0, seq=10, nonce=fresh(node, 4.5))


@pytest.mark.hazard("V6")
@pytest.mark.parametrize("how", ["close", "lapse", "ceiling"])
def test_every_end_burns_the_nonces_given_out_before(node: ValveNode, how: str) -> None:
    start_s, seq = 0.0, 1
    lease(node, start_s, seq=seq, nonce=fresh(node, start_s), open_s=60)
    if how == "ceiling":
        while start_s + 40.0 < CEILING_S:
            start_s, seq = start_s + 40.0, seq + 1
            lease(node, start_s, seq=seq, nonce=fresh(node, start_s), open_s=120)
    end_s = {"close": start_s + 50.0, "lapse": 60.0, "ceiling": CEILING_S}[how]
    nonce = fresh(node, end_s - 10.0)
    if how == "close":
        node.close(end_s)
    node.advance(end_s)
    assert not opened(node)
    later_s = end_s + (70.0 if how == "ceiling" else 1.0)
    if how == "ceiling":  # its nonces would be too old by themselves: look inside the life
        assert not lease(node, end_s + 1.0, seq=seq + 1, nonce=nonce)
    else:
        assert not lease(node, later_s, seq=seq + 1, nonce=nonce)
    assert lease(node, later_s, seq=seq + 2, nonce=fresh(node, later_s))


def test_close_of_a_closed_valve_burns_too(node: ValveNode) -> None:
    nonce = fresh(node, 0.0)
    node.close(1.0)
    assert not lease(node, 2.0, seq=1, nonce=nonce)


@pytest.mark.hazard("V7")
def test_leases_do_not_add_up(node: ValveNode) -> None:
    nonce = fresh(node, 0.0)
    lease(node, 0.0, seq=1, nonce=nonce, open_s=90)
    lease(node, 10.0, seq=2, nonce=nonce, open_s=90)
    assert node.state(10.0)["left_s"] == 90.0
    lease(node, 11.0, seq=3, nonce=nonce, open_s=5)
    assert node.state(11.0)["left_s"] == 5.0


@pytest.mark.hazard("V7")
def test_repeat_never_adds_time(node: ValveNode) -> None:
    nonce = fresh(node, 0.0)
    lease(node, 0.0, seq=1, nonce=nonce)
    assert not lease(node, 30.0, seq=1, nonce=nonce)
    node.advance(90.0)
    assert not opened(node)


def test_state_is_told_after_each_lease_accepted_or_not(node: ValveNode) -> None:
    nonce = fresh(node, 0.0)
    assert not node.has_news(1.0)
    lease(node, 1.0, seq=1, nonce=nonce)
    assert node.has_news(1.0)
    node.state(1.0)
    lease(node, 2.0, seq=1, nonce=nonce)
    assert node.has_news(2.0)


def test_state_is_told_every_20_s_with_a_fresh_nonce(node: ValveNode) -> None:
    first = fresh(node, 0.0)
    assert node.next_due_s() == 20.0
    assert not node.has_news(19.9)
    assert node.has_news(20.0)
    assert fresh(node, 20.0) != first


@pytest.mark.hazard("B4")
def test_retained_or_empty_lease_is_no_lease(node: ValveNode) -> None:
    told = {"open_s": 90, "dose": "d", "epoch": 1, "seq": 1, "nonce": fresh(node, 0.0)}
    assert not node.hear("lease", json.dumps(told).encode(), retained=True, now_s=1.0)
    assert not node.hear("lease", b"", retained=False, now_s=1.0)
    assert not node.has_news(1.0)
    assert not opened(node)


def keep_open(node: ValveNode, from_s: float, until_s: float, seq: int) -> int:
    now_s = from_s
    while now_s < until_s:
        lease(node, now_s, seq=seq, nonce=fresh(node, now_s), open_s=90)
        seq += 1
        now_s += 20.0
    return seq


@pytest.mark.hazard("V11")
def test_ceiling_ends_an_unbroken_opening_and_asks_for_60_s_of_rest(node: ValveNode) -> None:
    seq = keep_open(node, 0.0, CEILING_S, 1)
    node.advance(CEILING_S - 0.001)
    assert opened(node)
    node.advance(CEILING_S)
    assert not opened(node)
    assert not lease(node, CEILING_S + 59.9, seq=seq, nonce=fresh(node, CEILING_S + 59.0))
    assert lease(node, CEILING_S + 60.0, seq=seq, nonce=fresh(node, CEILING_S + 60.0))


def test_short_gap_does_not_break_an_opening(node: ValveNode) -> None:
    seq = keep_open(node, 0.0, 5600.0, 1)
    node.close(5620.0)
    assert lease(node, 5670.0, seq=seq, nonce=fresh(node, 5670.0))  # 50 s closed: no rest
    node.advance(CEILING_S)
    assert not opened(node)
    assert not lease(node, CEILING_S + 1.0, seq=seq + 1, nonce=fresh(node, CEILING_S + 1.0))


def test_rest_of_60_s_breaks_an_opening(node: ValveNode) -> None:
    seq = keep_open(node, 0.0, 5600.0, 1)
    node.close(5600.0)
    seq = keep_open(node, 5660.0, 5800.0, seq)
    node.advance(5800.0)
    assert opened(node)


def test_clock_that_steps_back_never_lengthens_a_lease(node: ValveNode) -> None:
    lease(node, 100.0, seq=1, nonce=fresh(node, 100.0), open_s=10)
    node.advance(50.0)
    assert opened(node)
    node.advance(110.0)
    assert not opened(node)


@dataclass
class Script:
    """An outside observer: what was accepted, what is true, what was told."""

    node: ValveNode = field(default_factory=lambda: ValveNode("v", 3, 0.0))
    now_s: float = 0.0
    epoch: int = 1
    seq: int = 0
    told: dict[str, float] = field(default_factory=dict)
    sent: list[tuple[int, int, int, str]] = field(default_factory=list)
    best: tuple[int, int] = (0, 0)
    allowed_until_s: float = -1.0
    begun_s: float | None = None
    closed_since_s: float = -1e9

    def look(self) -> None:
        """Judge the truth by the contract alone."""
        if self.node.is_open:
            assert self.now_s < self.allowed_until_s
            if self.begun_s is None or self.now_s - self.closed_since_s >= REST_S:
                self.begun_s = self.now_s
            assert self.now_s < self.begun_s + CEILING_S
            self.closed_since_s = float("inf")
        elif self.closed_since_s == float("inf"):
            self.closed_since_s = min(self.now_s, self.allowed_until_s, self._ceiling_s())
            self.told.clear()

    def _ceiling_s(self) -> float:
        """When an opening ends whatever is sent: at that instant, not at the next look."""
        return float("inf") if self.begun_s is None else self.begun_s + CEILING_S

    def send(self, open_s: float) -> None:
        self.hold(open_s)
        self.deliver(self.sent[-1])

    def hold(self, open_s: float) -> None:
        self.seq += 1
        nonce = max(self.told, key=lambda n: self.told[n], default="none")
        self.sent.append((int(open_s), self.epoch, self.seq, nonce))

    def again(self, which: float, *, retained: bool = False) -> None:
        if self.sent:
            self.deliver(self.sent[int(which * (len(self.sent) - 1))], retained=retained)

    def ghost(self, which: float) -> None:
        self.again(which, retained=True)

    def restart(self, _: float) -> None:
        self.epoch, self.seq = self.epoch + 1, 0

    def long(self, seconds: float) -> None:
        until_s = self.now_s + seconds
        while self.now_s < until_s:
            self.tell()
            self.send(90.0)
            self.wait(20.0)

    def wait(self, seconds: float) -> None:
        until_s = self.now_s + seconds
        while self.now_s < until_s:
            self.now_s = min(until_s, self.now_s + 7.0)
            self.node.advance(self.now_s)
            self.look()

    def tell(self, _: float = 0.0) -> None:
        state = self.node.state(self.now_s)
        self.told[str(state["nonce"])] = self.now_s

    def deliver(self, lease: tuple[int, int, int, str], *, retained: bool = False) -> None:
        open_s, epoch, seq, nonce = lease
        payload = json.dumps(
            {"open_s": open_s, "dose": "d", "epoch": epoch, "seq": seq, "nonce": nonce}
        ).encode()
        was_open = self.node.is_open
        taken = self.node.hear("lease", payload, retained=retained, now_s=self.now_s)
        if taken:
            assert not retained
            assert 1 <= open_s <= LEASE_MOST_S
            assert (epoch, seq) > self.best
            assert self.now_s - self.told.get(nonce, -1e9) <= NONCE_LIFE_S
            self.best = (epoch, seq)
            self.allowed_until_s = self.now_s + open_s
        else:
            assert self.node.is_open == was_open
        self.look()

    def close(self, _: float = 0.0) -> None:
        self.node.hear("close", b"", retained=False, now_s=self.now_s)
        self.allowed_until_s = min(self.allowed_until_s, self.now_s)
        self.told.clear()
        assert not self.node.is_open
        self.look()

    def reboot(self, _: float = 0.0) -> None:
        self.node.reboot(self.now_s)
        self.allowed_until_s = min(self.allowed_until_s, self.now_s)
        self.told.clear()
        assert not self.node.is_open
        self.look()


STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("wait"), st.floats(0.0, 130.0)),
        st.tuples(st.just("wait"), st.sampled_from([0.1, 1.0, 10.0, 44.0])),
        st.tuples(st.just("tell"), st.just(0.0)),
        st.tuples(st.just("send"), st.sampled_from([1.0, 30.0, 90.0, 120.0, 121.0, 0.0])),
        st.tuples(st.just("hold"), st.just(90.0)),
        st.tuples(st.just("again"), st.floats(0.0, 1.0)),
        st.tuples(st.just("again"), st.just(1.0)),
        st.tuples(st.just("ghost"), st.floats(0.0, 1.0)),
        st.tuples(st.just("close"), st.just(0.0)),
        st.tuples(st.just("reboot"), st.just(0.0)),
        st.tuples(st.just("restart"), st.just(0.0)),
        st.tuples(st.just("long"), st.floats(3000.0, 6500.0)),
    ),
    min_size=10,
    max_size=50,
)


ENDS_BETWEEN_LOOKS = [  # at its ceiling, three seconds before it is looked at
    *(("tell", 0.0), ("send", 90.0), ("wait", 3.0)),
    *(("long", 5697.1), ("wait", 17.0), ("long", 3000.0)),
]


@settings(max_examples=400, deadline=None)
@given(steps=STEPS)
@example(steps=ENDS_BETWEEN_LOOKS)
def test_no_script_opens_without_a_fresh_nonce_or_past_lease_and_ceiling(
    steps: list[tuple[str, float]],
) -> None:
    run = Script()
    for what, number in steps:
        getattr(run, what)(number)


def test_same_seed_gives_the_same_messages() -> None:
    one, two = ValveNode("v", 11, 0.0), ValveNode("v", 11, 0.0)
    assert [one.state(t) for t in (0.0, 20.0)] == [two.state(t) for t in (0.0, 20.0)]
    assert ValveNode("v", 12, 0.0).state(0.0) != ValveNode("v", 11, 0.0).state(0.0)


def test_meter_tells_at_the_first_pulse_then_every_5_s_then_every_60_s() -> None:
    meter = MeterNode("main", 5, 0.0, litres_per_pulse=0.1)
    assert meter.has_news(0.0)
    meter.reading(0.0)
    assert not meter.has_news(59.9)
    assert meter.has_news(60.0)
    meter.reading(60.0)
    meter.add(0.05, 70.0)
    assert not meter.has_news(70.0)  # half a pulse
    meter.add(0.06, 71.0)
    assert meter.has_news(71.0)  # the first pulse
    assert meter.reading(71.0)["litres_total"] == 0.1
    meter.add(1.0, 73.0)
    assert not meter.has_news(75.9)
    told = []
    now_s = 73.0
    while now_s < 260.0:
        now_s += 0.5
        if meter.has_news(now_s):
            told.append(now_s)
            meter.reading(now_s)
    assert told[:3] == [76.0, 81.0, 86.0]
    assert told[-1] - told[-2] == 60.0
    assert max(t for t in told if t <= 133.0) == 131.0  # 60 s after the last pulse at 73


def test_meter_counts_whole_pulses_and_uptime() -> None:
    meter = MeterNode("main", 5, 100.0, litres_per_pulse=0.1, tells="pulses")
    for step in range(1000):
        meter.add(0.033, 100.0 + step)
    reading = meter.reading(1100.0)
    assert (reading["pulses_total"], reading["up_s"]) == (330, 1000.0)
    meter.reboot(1200.0, keep_total=False)
    again = meter.reading(1201.0)
    assert (again["pulses_total"], again["up_s"]) == (0, 1.0)
    assert again["boot"] != reading["boot"]


def test_probe_tells_at_its_pace_with_a_rising_sequence() -> None:
    probe = ProbeNode("p", 5, 0.0, every_s=600.0)
    first_s = probe.next_due_s()
    assert 0.0 <= first_s <= 10.0
    one = probe.stamp(first_s)
    assert probe.next_due_s() == pytest.approx(first_s + 600.0, abs=1e-9)
    two = probe.stamp(first_s + 600.0)
    assert (one["seq"], two["seq"]) == (1, 2)
    probe.reboot(700.0)
    three = probe.stamp(700.0)
    assert three["seq"] == 1
    assert three["boot"] != two["boot"]
