"""What people order: water by hand, stop, pause, lock, lift an alert.

Every order is answered, a refused one with its reason and what would be allowed. Closing always
works; opening goes through the same guard as the policy.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal

from controller import scarcity
from controller.effects import Answer, Close
from controller.events import Order, OrderKind
from controller.flagging import SWAP_ALERT, cleared_by_person
from controller.learned import forget
from controller.probe_care import swap_cleared
from controller.proving import walk_orders
from controller.run import Run
from controller.state import Said, Watering
from controller.stopping import go_on, held_s, hold
from controller.telling import repeats, stop_rows
from controller.telling.hose_orders import HOSES
from controller.telling.pair_orders import PAIRS
from controller.telling.pause_orders import PAUSES
from controller.telling.sky_orders import SKIES
from controller.told_orders import HAND
from controller.watering.decision import Reason
from controller.watering.dosing import ON_LEAST_S, Split, nominal_s, split
from controller.watering.guard import LATCHING, caps_of
from controller.watering.hand_guard import permit_by_hand
from controller.watering.limits import Refused
from controller.watering.policy import REFILL_TO_FRAC
from controller.watering.ponding import pond_pulses
from controller.watering.refusals import REFUSALS as REFUSALS
from controller.watering.settling import cut, cut_all
from controller.watering.valves import begin_pulse, meter_alive
from controller.watering.words import bed_name, words

Status = Literal["accepted", "refused", "invalid", "unknown", "unrecorded"]

ENDING = "end"  # who orders when the daemon itself ends
BY_HAND_NEED = 1e6  # a person's order goes before any bed's need


def handle(run: Run, order: Order) -> None:
    """Carry out or refuse one order; the answer is among the effects."""
    before = repeats.known(run.state, order)
    if before is not None:
        run.out.append(before)
        return
    if order.bed is not None and order.bed not in run.garden.beds:
        _answer(run, order, "unknown", "no_such_bed", "There is no such bed.")
        return
    DOES[order.what](run, order)


def _answer(run: Run, order: Order, status: Status, reason: str, text: str) -> None:
    run.out.append(Answer(order=order.order, status=status, reason=reason, text=text))


def _note(run: Run, order: Order, text: str) -> None:
    run.note("order", order.bed, order.what.value, f"{order.who}: {text}", durable=True)


def _stop(run: Run, order: Order) -> None:
    beds = list(run.garden.beds) if order.bed is None else [order.bed]
    repeat = order.who != ENDING and stop_rows.is_repeat(run, order, beds)
    walk_orders.stop(run, order.bed)
    for bed in beds:
        cut(run, bed, "stopped")
        if order.who != ENDING:
            hold(run, bed)
        valve = run.garden.beds[bed].valve
        if not any(isinstance(done, Close) and done.valve == valve for done in run.out):
            run.close(valve)
    if order.bed is None and run.master is not None:
        run.close(run.master)
    if not repeat:
        _note(run, order, "close every valve" if order.bed is None else "close")
    _answer(run, order, "accepted", "stopped", "Told to close.")


def _wanted_l(run: Run, order: Order) -> float:
    bed = order.bed or ""
    flow_l_min = run.garden.beds[bed].flow_l_min
    if order.litres is not None:
        return order.litres
    if order.open_s is not None:
        return flow_l_min * order.open_s / 60.0
    water, day = run.state.water[bed], run.days[bed]
    short_mm = water.depletion_mm - REFILL_TO_FRAC * day.taw_mm
    return max(0.0, short_mm) * run.soils[bed].wetted_area_m2


def _water(run: Run, order: Order) -> None:
    bed = order.bed
    asked = [order.litres is not None, order.open_s is not None, order.refill]
    if bed is None or sum(asked) != 1:
        _answer(run, order, "invalid", "one_amount", "Say one of litres, minutes or refill.")
        return
    wanted_l = _wanted_l(run, order)
    if not 0.0 < wanted_l < math.inf:
        if order.refill:
            _answer(run, order, "refused", "full", f"{bed_name(bed)} lacks nothing.")
        else:
            _answer(run, order, "invalid", "not_finite", REFUSALS[Refused.NOT_FINITE])
        return
    if not nominal_s(wanted_l, run.garden.beds[bed].flow_l_min) >= ON_LEAST_S:
        _answer(run, order, "invalid", "too_short", REFUSALS[Refused.TOO_SHORT])
        return
    _water_now(run, order, bed, wanted_l)


def _water_now(run: Run, order: Order, bed: str, wanted_l: float) -> None:
    """Put a sound order before the guard, whole; then reserve its first pulse."""
    state, caps = run.state, caps_of(run, bed)
    flow_l_min = run.garden.beds[bed].flow_l_min
    parts = split(
        wanted_l,
        flow_l_min,
        caps.open_most_s,
        metered=meter_alive(run),
        least_pulses=pond_pulses(run.garden.beds[bed], nominal_s(wanted_l, flow_l_min)),
    )
    verdict = permit_by_hand(run, bed, wanted_l, min(parts.pulse_s, caps.open_most_s))
    refused = verdict.refused
    if refused is None:
        refused = begin_pulse(run, _ordered(run, order, bed, wanted_l, parts))
        if refused is not None:
            del state.waterings[bed]
    if refused is not None:
        _refuse(run, order, refused, verdict.allowed_l, verdict.next_possible_s)
        return
    _note(run, order, f"water {wanted_l:.0f} L")
    numbers = {"dose_l": wanted_l}
    state.beds[bed].said = Said(
        code=Reason.ORDERED.value,
        text=words(bed, Reason.ORDERED, numbers),
        numbers=numbers,
        at_utc_s=state.at_utc_s,
    )


def _ordered(run: Run, order: Order, bed: str, wanted_l: float, parts: Split) -> Watering:
    """A person's watering, in the bed's place; it goes before any bed's need."""
    state = run.state
    state.doses += 1
    watering = Watering(
        watering=f"{state.epoch}-{state.doses}",
        bed=bed,
        by=f"hand:{order.who}",
        want_l=wanted_l,
        pulses=parts.pulses,
        pulse_l=parts.pulse_l,
        pulse_s=parts.pulse_s,
        need=BY_HAND_NEED,
        until_utc_s=None,
        started_utc_s=state.at_utc_s,
        order=order.order,
    )
    state.waterings[bed] = watering
    return watering


def _refuse(run: Run, order: Order, why: Refused, allowed_l: float, next_s: float | None) -> None:
    status: Status = "invalid" if why is Refused.TOO_SHORT else "refused"
    if why is Refused.CANNOT_RECORD:
        status = "unrecorded"
    _note(run, order, f"refused: {why.value}")
    run.out.append(
        Answer(
            order=order.order,
            status=status,
            reason=why.value,
            text=REFUSALS[why],
            allowed_l=allowed_l,
            next_possible_utc_s=None if next_s is None else run.state.at_utc_s + next_s,
        )
    )


def recorded(run: Run, watering: Watering) -> None:
    """An ordered watering's first pulse is on disk: now the person gets the answer."""
    if not watering.order or watering.pulse is None:
        return
    order, watering.order = watering.order, ""
    flow_l_min = run.garden.beds[watering.bed].flow_l_min
    run.out.append(
        Answer(
            order=order,
            status="accepted",
            reason="watering",
            text=f"{bed_name(watering.bed)} gets {watering.want_l:.0f} L.",
            dose=watering.pulse.dose,
            litres=watering.want_l,
            open_s=nominal_s(watering.want_l, flow_l_min),
        )
    )


def unrecorded(run: Run, watering: Watering) -> None:
    """An ordered watering could not be recorded: say so."""
    if watering.order:
        run.out.append(
            Answer(
                order=watering.order,
                status="unrecorded",
                reason=Refused.CANNOT_RECORD.value,
                text=REFUSALS[Refused.CANNOT_RECORD],
            )
        )


def _resume(run: Run, order: Order) -> None:
    """End a pause, or what a person's stop left; each leaves the other as it is."""
    if order.yes:
        _after_stop(run, order)
        return
    state = run.state
    if order.bed is None:
        state.pause = None
        run.end_alert("paused")
    else:
        state.beds[order.bed].pause = None
        run.end_alert("paused", order.bed)
    for memory in state.beds.values():
        if memory.said.code == Reason.PAUSED.value:
            memory.judged_from_utc_s = None
    _note(run, order, "pause ended")
    run.nudge = True
    _answer(run, order, "accepted", "resumed", f"The pause is over.{_still_held(run, order.bed)}")


def _after_stop(run: Run, order: Order) -> None:
    """What a person stopped goes on by itself."""
    if go_on(run, list(run.garden.beds) if order.bed is None else [order.bed]):
        _note(run, order, "go on after a stop")
        run.nudge = True
    _answer(run, order, "accepted", "resumed", f"The stop is over.{_still_held(run, order.bed)}")


def _still_held(run: Run, bed: str | None) -> str:
    """What a person still holds, after a pause or a stop has ended."""
    state = run.state
    beds = list(run.garden.beds) if bed is None else [bed]
    paused = state.pause is not None or any(state.beds[one].pause is not None for one in beds)
    stopped = any(held_s(run, one) is not None for one in beds)
    told = " A pause still holds." if paused else ""
    return told + (" A stop still holds." if stopped else "")


def _lock(run: Run, order: Order) -> None:
    if not order.why.strip():
        _answer(run, order, "invalid", "why", "A lock needs its reason.")
        return
    run.state.lock_why = order.why
    cut_all(run, "locked")
    run.close_all()
    _note(run, order, f"lock: {order.why}")
    run.nudge = True
    _kept(run, order, "locked", "Locked: everything is told to close.")


def _kept(run: Run, order: Order, reason: str, text: str) -> None:
    """Answer an order that holds from now on, and say it where it cannot outlive a restart."""
    if run.state.can_record:
        _answer(run, order, "accepted", reason, text)
    else:
        unkept = f"{text} It cannot be recorded, so a restart would forget it."
        _answer(run, order, "unrecorded", Refused.CANNOT_RECORD.value, unkept)


def _unlock(run: Run, order: Order) -> None:
    run.state.lock_why = None
    _note(run, order, "unlock")
    run.nudge = True
    _answer(run, order, "accepted", "unlocked", "Unlocked.")


def _forget(run: Run, order: Order) -> None:
    bed = order.bed
    if bed is None:
        _answer(run, order, "invalid", "one_bed", "Say which bed is to forget what it learned.")
        return
    forget(run, bed)
    _note(run, order, "forget what was learned")
    text = (
        f"{bed_name(bed)} begins anew: the garden file's full point counts until it learns again."
    )
    _kept(run, order, "forgotten", text)


def _hand(run: Run, order: Order) -> None:
    """What somebody felt, saw, marked, poured or wants missed of one bed."""
    bed = order.bed
    if bed is None:
        _answer(run, order, "invalid", "one_bed", "Say of which bed.")
        return
    reply = HAND[order.what](run, bed, order)
    if reply.status != "accepted":
        _answer(run, order, reply.status, reply.reason, reply.text)
        return
    if reply.effect is not None:
        run.out.append(reply.effect)
    _note(run, order, f"{reply.note} ({order.why})" if order.why else reply.note)
    _kept(run, order, reply.reason, reply.text)


def _told(run: Run, order: Order) -> None:
    """A walk begun, answered or ended; a hose; who may come in; a pause; the sky as typed."""
    reply = TELLS[order.what](run, order)
    if reply.status != "accepted":
        _answer(run, order, reply.status, reply.reason, reply.text)
        return
    _note(run, order, reply.note)
    _kept(run, order, reply.reason, reply.text)


def _tank(run: Run, order: Order) -> None:
    """Somebody filled the tank, or read how much is in it."""
    fault = scarcity.fill(run, order.litres)
    if fault:
        _answer(run, order, "invalid", "tank", fault)
        return
    text = f"The tank holds {scarcity.tank_left_l(run):.0f} L."
    _note(run, order, text)
    _kept(run, order, "tank", text)


def _clear(run: Run, order: Order) -> None:
    state = run.state
    alert = state.alerts.get(order.alert or "")
    if alert is None:
        _answer(run, order, "unknown", "no_such_alert", "There is no such alert.")
        return
    doubted = alert.probe if alert.code == "probe_suspect" and alert.person_needed else None
    swapped = alert.bed if alert.code == SWAP_ALERT else None
    lifts = doubted is not None or swapped is not None or alert.code in LATCHING
    lifts = lifts or alert.code == "history_lost"
    if not lifts:
        _answer(run, order, "accepted", "no_latch", "That alert ends by itself.")
        return
    if not order.why.strip():
        _answer(run, order, "invalid", "why", "Lifting a latch needs its reason.")
        return
    if doubted is not None:
        cleared_by_person(run, doubted)
    elif swapped is not None:
        swap_cleared(run, swapped)
    else:
        del state.alerts[alert.id]
    run.alerts_changed = True
    if alert.code == "history_lost":
        state.budget_spent_until_trusted_s = None
    _note(run, order, f"lifted {alert.id}: {order.why}")
    run.nudge = True
    _answer(run, order, "accepted", "lifted", "Lifted.")


TELLS = {**walk_orders.WALKS, **HOSES, **PAIRS, **PAUSES, **SKIES}
DOES: dict[OrderKind, Callable[[Run, Order], None]] = {
    OrderKind.WATER: _water,
    OrderKind.STOP: _stop,
    OrderKind.STOP_ALL: _stop,
    OrderKind.RESUME: _resume,
    OrderKind.LOCK: _lock,
    OrderKind.UNLOCK: _unlock,
    OrderKind.CLEAR: _clear,
    OrderKind.FORGET: _forget,
    OrderKind.TANK: _tank,
    **dict.fromkeys(HAND, _hand),
    **dict.fromkeys(TELLS, _told),
}
