"""A close is repeated until it is sure."""

from __future__ import annotations

import pytest

from controller.closing import Closing
from controller.effects import Close, Lease
from controller.events import ValveReport

CLOSE = Close(valve="v", dose="d")


def report(
    mono_s: float, *, is_open: bool = False, epoch: int = 0, seq: int = 0, valve: str = "v"
) -> ValveReport:
    return ValveReport(
        at_utc_s=mono_s, mono_s=mono_s, valve=valve, open=is_open, left_s=0.0, dose="d", boot="b",
        epoch=epoch, seq=seq, contract=1,
    )  # fmt: skip


def due(closing: Closing, mono_s: float, real_s: float | None = None) -> list[Close]:
    """Ask what is due and pretend to send it."""
    real_s = mono_s if real_s is None else real_s
    found = closing.due(mono_s=mono_s, real_s=real_s)
    for close in found:
        closing.tried(close.valve, sent=True, mono_s=mono_s, real_s=real_s)
    return found


@pytest.mark.hazard("V5")
def test_close_is_due_at_once_and_every_2_s() -> None:
    closing = Closing()
    closing.want(CLOSE, mono_s=10.0)
    assert due(closing, 10.0) == [CLOSE]
    assert due(closing, 11.9) == []
    assert due(closing, 12.0) == [CLOSE]


def test_fast_clock_repeats_no_faster_than_5_a_second() -> None:
    closing = Closing()
    closing.want(CLOSE, mono_s=0.0)
    assert due(closing, 0.0, real_s=100.0) == [CLOSE]
    assert due(closing, 24.0, real_s=100.1) == []
    assert due(closing, 48.0, real_s=100.2) == [CLOSE]


def test_what_did_not_go_out_is_due_sooner() -> None:
    closing = Closing()
    closing.want(CLOSE, mono_s=0.0)
    closing.tried("v", sent=False, mono_s=0.0, real_s=0.0)
    assert due(closing, 0.2) == [CLOSE]


def test_closed_report_ends_it() -> None:
    closing = Closing()
    closing.want(CLOSE, mono_s=0.0)
    closing.confirm(report(1.0, is_open=True))
    assert closing.pending("v", mono_s=1.0)
    closing.confirm(report(1.0, valve="other"))
    assert closing.pending("v", mono_s=1.0)
    closing.confirm(report(2.0))
    assert not closing.pending("v", mono_s=2.0)
    assert due(closing, 10.0) == []


@pytest.mark.hazard("V5")
def test_longest_lease_and_margin_end_it() -> None:
    closing = Closing()
    closing.want(CLOSE, mono_s=0.0)
    assert due(closing, 169.9) == [CLOSE]
    assert due(closing, 172.0) == []
    assert not closing.pending("v", mono_s=172.0)


@pytest.mark.parametrize(
    ("mono_s", "epoch", "seq", "sure"),
    [
        pytest.param(12.0, 3, 7, True, id="lease-arrived"),
        pytest.param(12.0, 3, 6, False, id="lease-on-its-way"),
        pytest.param(12.0, 2, 99, False, id="older-epoch"),
        pytest.param(54.9, 3, 6, False, id="nonce-still-lives"),
        pytest.param(55.0, 3, 6, True, id="nonce-dead"),
    ],
)
def test_closed_report_counts_only_when_no_lease_can_follow(
    mono_s: float, epoch: int, seq: int, sure: bool
) -> None:
    closing = Closing()
    closing.leased(Lease(valve="v", open_s=90, dose="d", epoch=3, seq=7), mono_s=10.0)
    closing.want(CLOSE, mono_s=11.0)
    closing.confirm(report(mono_s, epoch=epoch, seq=seq))
    assert closing.pending("v", mono_s=mono_s) is not sure


def test_all_are_due_when_the_link_is_back() -> None:
    closing = Closing()
    for valve in ("b", "a"):
        closing.want(Close(valve=valve), mono_s=0.0)
    assert [close.valve for close in due(closing, 0.0)] == ["a", "b"]
    closing.again()
    assert [close.valve for close in due(closing, 0.5)] == ["a", "b"]


@pytest.mark.hazard("V5")
def test_an_answer_that_is_sooner_than_the_sending_ends_a_close() -> None:
    """A node may say closed before its close has been written down as sent."""
    closing = Closing()
    closing.want(CLOSE, mono_s=10.0)
    (found,) = closing.due(mono_s=10.0, real_s=10.0)
    closing.confirm(report(10.0))
    closing.tried(found.valve, sent=True, mono_s=10.0, real_s=10.0)
    assert not closing.pending("v", mono_s=10.0)
    assert closing.due(mono_s=100.0, real_s=100.0) == []


@pytest.mark.hazard("V5")
def test_a_close_that_is_wanted_again_and_again_goes_out_no_faster_than_its_repeats() -> None:
    closing, sent = Closing(), 0
    for step in range(1000):  # 100 s
        closing.want(Close(valve="v"), mono_s=step / 10.0)
        sent += len(due(closing, step / 10.0))
        closing.confirm(report(step / 10.0))  # each is answered at once
    assert sent == 50
    closing.want(Close(valve="v"), mono_s=100.0)
    assert closing.pending("v", mono_s=100.0), "and the last is not forgotten"
    assert due(closing, 102.0) == [Close(valve="v")]


@pytest.mark.hazard("V5")
def test_a_close_is_due_at_once_where_the_valve_may_be_open_since_the_last() -> None:
    def told() -> Closing:
        closing = Closing()
        closing.want(CLOSE, mono_s=10.0)
        assert due(closing, 10.0) == [CLOSE]
        closing.confirm(report(10.1))
        return closing

    leased, opened, other = told(), told(), told()
    leased.leased(Lease(valve="v", open_s=90, dose="d", epoch=3, seq=7), mono_s=10.2)
    leased.want(CLOSE, mono_s=10.3)
    assert due(leased, 10.3) == [CLOSE]
    opened.confirm(report(10.2, is_open=True))
    opened.want(CLOSE, mono_s=10.3)
    assert due(opened, 10.3) == [CLOSE]
    other.want(Close(valve="v", dose="e"), mono_s=10.3)
    assert due(other, 10.3) == [Close(valve="v", dose="e")]
    back = told()
    back.want(CLOSE, mono_s=10.2)
    back.again()
    back.want(CLOSE, mono_s=10.3)
    assert due(back, 10.3) == [CLOSE], "the link is back"
