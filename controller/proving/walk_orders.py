"""What people order of a walk: begin it, answer it, end it; and the backflow question."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from controller.events import Order, OrderKind
from controller.hand_orders import Reply
from controller.proving.arming import OK, baseline_stands, unarmed, walk_of
from controller.proving.listening import other_water
from controller.proving.memory import Active, Backflow
from controller.proving.proof import put_off
from controller.proving.walk import GO_ON, bed_words, end_walk, write
from controller.run import Run
from controller.watering import hose
from controller.watering.guard import interlock
from controller.watering.refusals import REFUSALS
from controller.watering.settling import cut
from controller.watering.words import bed_name

DEVICES: dict[str, str] = {
    "air_gap": "an air gap",
    "reduced_pressure": "a reduced-pressure assembly",
    "pressure_vacuum_breaker": "a pressure vacuum breaker",
    "atmospheric_vacuum_breaker": "an atmospheric vacuum breaker",
    "double_check": "a double check valve",
    "not_on_mains": "none, the water is not joined to drinking water",
    "none": "none",
}
# They have test cocks: from memory.
TESTABLE = frozenset({"reduced_pressure", "pressure_vacuum_breaker", "double_check"})
NAMED_BY_YES = "unnamed"  # `--yes` on a bench
CAUTIONS: dict[str, str] = {
    "none": "Nothing keeps water of the beds out of the drinking water: have a device fitted.",
    "atmospheric_vacuum_breaker": "It must have no valve behind it, and all of these valves are.",
    "double_check": "With fertiliser in the water it is not enough.",
    NAMED_BY_YES: "No device was named: the walk was told to answer yes to everything.",
}


def begin(run: Run, order: Order) -> Reply:
    """Begin a walk, or go on with one: all that is not walked yet, or the bed that is named."""
    proving, state = run.state.proving, run.state
    if proving.active is not None and proving.active.kind == "walk":
        return _yes("walking", "The walk is under way.")
    if proving.active is not None or state.waterings:
        what = "the master valve is being proved" if proving.active else "a bed drinks"
        return _no("busy", f"Not now: {what}. Wait for its end, or stop it.")
    if hose.announced(run):
        return _no("hose", "Not now: a hose is announced, and the walk measures the flow.")
    if other_water(run):
        return _no(
            "other_water", "Not now: other water runs behind the meter. Close the hose first."
        )
    todo = _todo(run, order.bed)
    refused = interlock(run, _first(run, todo), "walk")
    if refused is not None:
        return _no(refused.value, REFUSALS[refused])
    if order.yes and proving.backflow is None:
        _keep_backflow(run, order.who, NAMED_BY_YES, "")
    if not todo:
        proving.said = "Every valve is walked." if not unarmed(run) else _lacks(run)
        return _yes("walked", proving.said)
    proving.said = ""
    proving.active = Active(kind="walk", who=order.who, yes=bool(order.yes), todo=todo)
    names = ", ".join(bed_name(bed) for bed in todo if bed) or "the test with every bed closed"
    return _yes("walking", f"The walk begins: {names}.")


def _todo(run: Run, bed: str | None) -> list[str]:
    """What is to be looked at, the baseline (the empty name) first."""
    beds = [bed] if bed is not None else [b for b in run.garden.beds if not _walked(run, b)]
    return beds if baseline_stands(run) else ["", *beds]


def _walked(run: Run, bed: str) -> bool:
    walked = walk_of(run, bed)
    return walked is not None and walked.verdict == OK


def _first(run: Run, todo: list[str]) -> str:
    return next((bed for bed in todo if bed), next(iter(run.garden.beds)))


def _lacks(run: Run) -> str:
    if run.state.proving.backflow is None:
        return "Walked, and not armed: say which backflow device is fitted and when it was tested."
    return f"Not armed: {', '.join(bed_name(bed) for bed in unarmed(run))}."


def answer(run: Run, order: Order) -> Reply:
    """Whether the right bed, and no other, got wet."""
    active = run.state.proving.active
    if active is None or active.phase != "asking":
        return _no("nothing_asked", "Nothing is asked now.")
    if order.bed is not None and order.bed != active.at:
        return _no("other_bed", f"It is {bed_name(active.at)} that is asked about.")
    bed = active.at
    if order.yes is None:
        return Reply(status="invalid", reason="yes", text="Say yes or no.")
    active.who = order.who
    write(run, active, OK if order.yes else "wrong_bed", "person" if order.yes else "")
    return _yes("noted", bed_words(run, bed), f"{bed}: {'yes' if order.yes else 'no'}")


def backflow(run: Run, order: Order) -> Reply:
    """Which device keeps the beds' water out of the drinking water, and when it was tested."""
    if order.device not in DEVICES:
        return Reply(status="invalid", reason="device", text=f"One of {', '.join(DEVICES)}.")
    if order.device in TESTABLE or order.on:
        fault = _not_a_test(run, order.on)
        if fault:
            return Reply(status="invalid", reason="tested", text=fault)
    _keep_backflow(run, order.who, order.device, order.on)
    run.nudge = True
    text = f"Kept: {backflow_words(order.device, order.on)}"
    return _yes("kept", text, f"backflow: {order.device} {order.on}".strip())


def _not_a_test(run: Run, on: str) -> str:
    try:
        tested = date.fromisoformat(on)
    except ValueError:
        return "Say when it was tested, like 2026-04-20."
    return "" if tested <= run.local_day(run.state.at_utc_s) else "That day is still to come."


def _keep_backflow(run: Run, who: str, device: str, tested: str) -> None:
    run.state.proving.backflow = Backflow(
        device=device, tested=tested, who=who, at_utc_s=run.state.at_utc_s
    )
    text = f"{who}: {backflow_words(device, tested)}"
    run.note("walk", None, "backflow", text, durable=True)


def backflow_words(device: str, tested: str) -> str:
    """The answer to the backflow question, in a sentence or two."""
    when = f", tested {tested}" if tested else ""
    words = f"Backflow device: {DEVICES.get(device, 'not named')}{when}."
    caution = CAUTIONS.get(device, "")
    return f"{words} {caution}".strip()


def end(run: Run, order: Order) -> Reply:
    """End a walk under way; what is finished stays walked."""
    active = run.state.proving.active
    if active is None or active.kind != "walk":
        return _no("nothing", "No walk is under way.")
    stop(run, None, f"Ended by {order.who}. {GO_ON}")
    return _yes("ended", "The walk is ended. What was finished stays walked.")


def stop(run: Run, bed: str | None, text: str = f"The walk was stopped. {GO_ON}") -> None:
    """End the walk or proof that is under way, its valve told to close.

    Args:
        run: the engine's working set.
        bed: the one that is stopped; None for the whole garden. A walk at another bed goes on.
        text: for people.
    """
    active = run.state.proving.active
    if active is None or bed not in {None, active.at}:
        return
    cut(run, active.at, "stopped")
    if active.kind == "walk":
        end_walk(run, text, "stopped")
    else:
        put_off(run, "stopped")


def _yes(reason: str, text: str, note: str = "") -> Reply:
    return Reply(status="accepted", reason=reason, text=text, note=note or text)


def _no(reason: str, text: str) -> Reply:
    return Reply(status="refused", reason=reason, text=text)


WALKS: dict[OrderKind, Callable[[Run, Order], Reply]] = {
    OrderKind.WALK: begin,
    OrderKind.WALK_ANSWER: answer,
    OrderKind.WALK_BACKFLOW: backflow,
    OrderKind.WALK_END: end,
}
