"""What a person says of a bed's water: so much was poured by hand, this turn is to be missed.

Each order gives its answer as a `Reply`; `orders.py` records and sends it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from controller.bed_views import window_now
from controller.flagging import end_flag
from controller.hand_orders import Reply
from controller.run import Run
from controller.sensing import poured as by_can
from controller.sensing.flags import Flag
from controller.state import Said
from controller.told_state import Miss
from controller.watering.decision import Reason
from controller.watering.settling import cut
from controller.watering.words import bed_name, percent, words

UNASKED = (Flag.RISE_UNEXPLAINED, Flag.JUMP)  # what poured water explains


def _invalid(reason: str, text: str) -> Reply:
    return Reply(status="invalid", reason=reason, text=text)


def _refused(reason: str, text: str) -> Reply:
    return Reply(status="refused", reason=reason, text=text)


def poured(run: Run, bed: str, litres: float | None) -> Reply:
    """Somebody poured water on a bed: it enters the balance, and explains what its probes told.

    The day's limits bound what a valve may give; they are not touched by it.

    Args:
        run: the engine's working set.
        bed: whose.
        litres: by can or hose [L], above 0.
    """
    state, soil = run.state, run.soils[bed]
    most_l = by_can.POURED_MOST_TAW * soil.taw_mm(soil.full_root_depth_m) * soil.wetted_area_m2
    if litres is None or not 0.0 < litres < math.inf:
        return _invalid("litres", "Say how many litres, above 0.")
    if not litres <= most_l:
        text = f"{bed_name(bed)} cannot take {litres:.0f} L by hand: {most_l:.0f} L at most."
        return _invalid("litres", text)
    memory, water, day = state.beds[bed], state.water[bed], run.days[bed]
    before_frac = water.depletion_mm / day.taw_mm
    trial = state.trials.get(bed)
    memory.poured = told = by_can.pour(water, litres, soil.wetted_area_m2, trial, state.at_utc_s)
    memory.given_hour_l += litres
    for name in run.garden.beds[bed].probes:
        for flag in UNASKED:
            end_flag(run, name, flag)
    memory.judged_from_utc_s = None
    run.nudge = True
    got = f"{bed_name(bed)} got {litres:.0f} L by hand"
    run.note("watering", bed, "poured", f"{got}.", {"given_l": litres})
    text = (
        f"{got}: {percent(water.depletion_mm / day.taw_mm)} of its water is used now, before it "
        f"was {percent(before_frac)}.{_besides(run, bed, told.over_mm * soil.wetted_area_m2)}"
    )
    return Reply(status="accepted", reason="poured", text=text, note=f"poured {litres:.0f} L")


def _besides(run: Run, bed: str, through_l: float) -> str:
    """What else there is to say of poured water."""
    text = ""
    if through_l >= 1.0:
        text += f" {through_l:.0f} L of it is more than its roots can hold."
    if bed in run.state.waterings:
        text += " Its own watering goes on: stop it if this is enough."
    return text


def unpoured(run: Run, bed: str) -> Reply:
    """Take back the last that was told as poured, within a day."""
    state = run.state
    memory, told = state.beds[bed], state.beds[bed].poured
    recent = told is not None and state.at_utc_s - told.at_utc_s <= by_can.TAKEN_BACK_WITHIN_S
    if told is None or not recent:
        return _refused("no_poured", f"Nothing was told as poured on {bed_name(bed)} within a day.")
    by_can.take_back(state.water[bed], told, run.days[bed].taw_mm, state.at_utc_s)
    memory.poured = memory.judged_from_utc_s = None
    memory.given_hour_l = max(0.0, memory.given_hour_l - told.litres)
    run.nudge = True
    name, litres = bed_name(bed), f"{told.litres:.0f} L"
    text = f"{name} did not get {litres} by hand after all."
    run.note("watering", bed, "not_poured", text, {"given_l": -told.litres})
    return Reply(
        status="accepted",
        reason="taken_back",
        text=f"Taken back: {name} did not get those {litres}.",
        note=f"took back {litres} poured",
    )


def miss(run: Run, bed: str) -> Reply:
    """Leave out a bed's next watering: one night, and never past the floor.

    A watering of its own that is under way ends here, and was the turn.

    Args:
        run: the engine's working set.
        bed: whose.
    """
    state, name = run.state, bed_name(bed)
    memory, watering = state.beds[bed], state.waterings.get(bed)
    if watering is None:
        memory.miss = Miss(at_utc_s=state.at_utc_s)
        run.nudge = True
        text = (
            f"{name} misses its next turn, one night. It still drinks once it is past its floor; "
            "a pause keeps it dry whatever comes."
        )
        return Reply(status="accepted", reason="to_miss", text=text, note="miss the next turn")
    if watering.by != "policy":
        return _refused("by_hand", f"{name} is watered by a person's order: stop that instead.")
    day = run.days[bed]
    if state.water[bed].depletion_mm > day.floor_frac * day.taw_mm:
        return _refused("floor_passed", f"{name} is past its floor: stop it, or pause it, instead.")
    window = window_now(run)
    tonight = window.holds(state.at_utc_s)
    cut(run, bed, "missed")
    memory.miss = Miss(at_utc_s=state.at_utc_s, night_utc_s=window.from_utc_s) if tonight else None
    said = words(bed, Reason.MISSED, {})
    memory.said = Said(code=Reason.MISSED.value, text=said, at_utc_s=state.at_utc_s)
    run.nudge = True
    text = f"{name} misses the rest of this turn. The next one is its own again."
    return Reply(status="accepted", reason="missed", text=text, note="miss the rest of this turn")


def unmiss(run: Run, bed: str) -> Reply:
    """Take a miss back: the bed has its turn again, tonight if it is due."""
    memory = run.state.beds[bed]
    if memory.miss is None:
        return _refused("no_miss", f"{bed_name(bed)} misses no turn.")
    memory.miss = memory.judged_from_utc_s = None
    run.nudge = True
    text = f"{bed_name(bed)} has its turn again."
    return Reply(status="accepted", reason="not_missed", text=text, note="miss taken back")


def turns_json(run: Run, bed: str, instant: Callable[[float], str]) -> dict[str, Any]:
    """What people said of a bed's water, as it crosses every border.

    Args:
        run: the engine's working set.
        bed: which.
        instant: writes an instant [s, Unix].
    """
    memory = run.state.beds[bed]
    told, wanted = memory.poured, memory.miss
    return {
        "poured": None
        if told is None
        else {"litres": round(told.litres, 1), "at": instant(told.at_utc_s)},
        "miss": None
        if wanted is None
        else {"since": instant(wanted.at_utc_s), "tonight": wanted.night_utc_s is not None},
    }
