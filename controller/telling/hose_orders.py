"""What people say of other water behind the meter: a hose that will run, whose flow this is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from controller.events import Order, OrderKind
from controller.hand_orders import Reply
from controller.proving import walk_orders
from controller.run import Run
from controller.watering import hose
from controller.watering.settling import cut_all


def begin(run: Run, order: Order) -> Reply:
    """Other water is about to flow: for so long no flow is a leak or a burst."""
    seconds, active = order.open_s, run.state.proving.active
    if seconds is None or not 0.0 < seconds <= hose.HOSE_MOST_S:
        most_h = hose.HOSE_MOST_S / 3600.0
        return _invalid("minutes", f"Say for how many minutes, at most {60.0 * most_h:.0f}.")
    if active is not None and active.kind == "walk":
        return _no("walking", "Not now: the walk measures the flow. End it first.")
    if active is not None:  # the weekly proof can wait for another night
        walk_orders.stop(run, "Put off: a hose was announced.")
    hose.announce(run, seconds, order.who)
    text = (
        f"For {seconds / 60.0:.0f} min other water may flow behind the meter: no leak and no "
        "burst is called. Beds go on drinking, by their own rated flow."
    )
    return _yes("hose", text, f"a hose for {seconds / 60.0:.0f} min")


def finish(run: Run, order: Order) -> Reply:
    """The hose is off: flow is watched again."""
    del order
    hose.mind(run)
    if run.state.taps.hose is None:
        return _no("no_hose", "No hose is announced.")
    hose.end(run, "The hose is off.")
    text = "The hose is off: what still flows a minute from now is asked about."
    return _yes("no_hose", text, "the hose is off")


def answer(run: Run, order: Order) -> Reply:
    """Whose flow it is that was asked about: somebody's here, or nobody's."""
    if run.state.taps.asked_trusted_s is None:
        return _no("nothing_asked", "Nothing is asked: no flow that nobody announced.")
    if order.yes is None:
        return _invalid("ours", "Say whether the water is yours.")
    if order.yes:
        hose.announce(run, hose.MINE_S, order.who)
        text = f"Then it is no leak: the water may run for another {hose.MINE_S / 60.0:.0f} min."
        return _yes("ours", text, "the flow is ours")
    rate_l_min = run.state.taps.others_l_min
    cut_all(run, "fault")
    hose.leak(
        run,
        f"{rate_l_min:.1f} L/min flow, and it is nobody's water. Shut the hand valve and look.",
    )
    return _yes("nobody", "Then it is a leak: everything is told to close.", "nobody's flow")


def hose_json(run: Run, instant: Callable[[float], str]) -> dict[str, Any] | None:
    """The announcement that holds, as it crosses every border.

    Args:
        run: the engine's working set.
        instant: writes an instant [s, Unix].
    """
    told = run.state.taps.hose
    if told is None or not hose.announced(run):
        return None
    return {"since": instant(told.since_utc_s), "until": instant(told.until_utc_s), "who": told.who}


def _invalid(reason: str, text: str) -> Reply:
    return Reply(status="invalid", reason=reason, text=text)


def _no(reason: str, text: str) -> Reply:
    return Reply(status="refused", reason=reason, text=text)


def _yes(reason: str, text: str, note: str) -> Reply:
    return Reply(status="accepted", reason=reason, text=text, note=note)


HOSES: dict[OrderKind, Callable[[Run, Order], Reply]] = {
    OrderKind.HOSE: begin,
    OrderKind.HOSE_END: finish,
    OrderKind.FLOW_ANSWER: answer,
}
