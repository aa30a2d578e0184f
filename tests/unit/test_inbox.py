"""What the link lets through, and what it only counts."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any, cast

import pytest

from controller.events import ProbeReading, ValveReport
from controller.inbox import Canary, Heard, Inbox, NonceBook

STATE = {
    "open": False, "left_s": 0, "dose": "", "nonce": "n1", "boot": "b1", "epoch": 0, "seq": 0,
    "contract": 1,
}  # fmt: skip


@dataclass(frozen=True)
class Device:
    kind: str = "theta_m3_m3"
    field: str | None = None
    senml: str | None = None
    plain_relay: bool = False
    litres_per_pulse: float = 0.1


@dataclass
class Plot:
    """As much of a garden as the inbox looks at."""

    probes: dict[str, Device] = field(default_factory=lambda: {"p": Device()})
    valves: dict[str, Device] = field(
        default_factory=lambda: {"v": Device(), "relay": Device(plain_relay=True)}
    )
    meters: dict[str, Device] = field(default_factory=lambda: {"m": Device()})
    weather: dict[str, Device] = field(default_factory=lambda: {"w": Device()})

    def topic(self, kind: str, device: str = "") -> str:
        return f"{kind}/{device}" if device else kind


@pytest.fixture
def inbox() -> Inbox:
    return Inbox(cast("Any", Plot()))


def hear(
    inbox: Inbox, topic: str, payload: object, mono_s: float = 0.0, *, retained: bool = False
) -> list[Heard]:
    data = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return inbox.hear(topic, data, retained=retained, at_utc_s=1000.0 + mono_s, mono_s=mono_s)


def test_reading_passes_and_is_counted(inbox: Inbox) -> None:
    found = hear(inbox, "probe/p", b"0.25", 3.0)
    assert found == [ProbeReading(at_utc_s=1003.0, mono_s=3.0, probe="p", value=0.25)]
    assert inbox.counters.readings == 1


def test_unknown_topic_is_only_counted(inbox: Inbox) -> None:
    assert hear(inbox, "probe/q", b"0.25") == []
    assert inbox.counters.ignored == 1


def test_relay_has_no_state_to_hear(inbox: Inbox) -> None:
    assert "state/relay" not in dict(inbox.subscriptions())


def test_retained_counts_only_on_outlook_and_controller_state(inbox: Inbox) -> None:
    (kept,) = hear(inbox, "probe/p", b"0.25", retained=True)
    assert isinstance(kept, ProbeReading)
    assert kept.not_now == "retained"  # history: the engine names it and uses it for nothing
    (live,) = hear(inbox, "probe/p", b"0.25")
    assert isinstance(live, ProbeReading)
    assert live.not_now == ""
    assert hear(inbox, "state/v", STATE, retained=True) == []
    assert inbox.nonces.fresh("v", mono_s=0.0) is None
    assert len(hear(inbox, "outlook", [], retained=True)) == 1
    assert len(hear(inbox, "controller_state", {"state": "gone"}, retained=True)) == 1
    wanted = {topic for topic, kept in inbox.subscriptions() if kept}
    assert wanted == {"outlook", "controller_state"}


def test_several_probes_may_share_a_topic() -> None:
    class Shared(Plot):
        def topic(self, kind: str, device: str = "") -> str:
            return "shared" if kind == "probe" else super().topic(kind, device)

    inbox = Inbox(cast("Any", Shared(probes={"a": Device(field="/a"), "b": Device(field="/b")})))
    found = hear(inbox, "shared", {"a": 0.1, "b": 0.2})
    assert [(r.probe, r.value) for r in found if isinstance(r, ProbeReading)] == [
        ("a", 0.1),
        ("b", 0.2),
    ]


@pytest.mark.parametrize(
    ("age_s", "given"),
    [
        pytest.param(0.0, "n1", id="at-once"),
        pytest.param(44.9, "n1", id="just-below"),
        pytest.param(45.0, None, id="on-the-limit"),
        pytest.param(-1.0, None, id="from-the-future"),
        pytest.param(float("nan"), None, id="nan"),
    ],
)
def test_nonce_is_given_out_for_45_s(age_s: float, given: str | None) -> None:
    book = NonceBook()
    book.keep("v", "n1", mono_s=100.0)
    assert book.fresh("v", mono_s=100.0 + age_s) == given


def test_burnt_nonce_is_gone() -> None:
    book = NonceBook()
    book.keep("v", "n1", mono_s=0.0)
    book.burn("v")
    assert book.fresh("v", mono_s=0.0) is None


def test_idle_report_is_thinned_and_its_nonce_kept(inbox: Inbox) -> None:
    assert len(hear(inbox, "state/v", STATE, 0.0)) == 1
    assert hear(inbox, "state/v", {**STATE, "nonce": "n2"}, 20.0) == []
    assert inbox.nonces.fresh("v", mono_s=20.0) == "n2"
    assert hear(inbox, "state/v", {**STATE, "nonce": "n3"}, 59.9) == []
    assert len(hear(inbox, "state/v", {**STATE, "nonce": "n4"}, 60.0)) == 1


@pytest.mark.parametrize(
    "change",
    [
        pytest.param({"open": True, "left_s": 90}, id="open"),
        pytest.param({"boot": "b2"}, id="rebooted"),
        pytest.param({"seq": 1}, id="order"),
        pytest.param({"dose": "d"}, id="dose"),
    ],
)
def test_report_that_says_something_new_passes(inbox: Inbox, change: dict[str, object]) -> None:
    hear(inbox, "state/v", STATE, 0.0)
    assert len(hear(inbox, "state/v", {**STATE, **change}, 1.0)) == 1


def test_open_report_always_passes(inbox: Inbox) -> None:
    told = {**STATE, "open": True, "left_s": 90}
    assert [len(hear(inbox, "state/v", told, float(n))) for n in range(3)] == [1, 1, 1]


def test_report_that_somebody_waits_for_passes(inbox: Inbox) -> None:
    hear(inbox, "state/v", STATE, 0.0)
    inbox.forget("v")
    found = hear(inbox, "state/v", STATE, 1.0)
    assert [type(one) for one in found] == [ValveReport]


def test_refused_messages_are_counted_and_logged_once_an_hour(
    inbox: Inbox, caplog: pytest.LogCaptureFixture
) -> None:
    for mono_s in (0.0, 10.0, 3599.0, 3600.0):
        assert hear(inbox, "probe/p", b"marker", mono_s) == []
    assert inbox.counters.rejected == {"probe/p": 4}
    assert len(caplog.records) == 2
    assert "marker" not in caplog.text


@pytest.mark.hazard("B8")
def test_flood_uses_up_its_topic_alone(inbox: Inbox) -> None:
    passed = sum(len(hear(inbox, "probe/p", b"0.25", 0.0)) for _ in range(1000))
    assert passed == 200
    assert len(hear(inbox, "state/v", STATE, 0.0)) == 1
    assert len(hear(inbox, "probe/p", b"0.25", 1.0)) == 1
    assert hear(inbox, "probe/p", b"0.25", 1.5) == []


def test_flood_of_canaries_does_not_drown_ours(inbox: Inbox) -> None:
    for _ in range(1000):
        hear(inbox, "canary", b"1")
    assert hear(inbox, "canary", b"2") == [Canary(number=2)]
