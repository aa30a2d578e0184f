"""What the garden looks like to people and programs: one JSON-able picture of the engine.

The same picture serves `status --json`, `demo --json`, `GET /api/garden` and the page. Instants
are RFC 3339 in UTC, fractions 0..1 of TAW, litres.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from controller.agronomy.crop import untried
from controller.bed_views import sky_of, view_of, window_now
from controller.coming import Outlook, outlook_of
from controller.coming import turns_json as changes_json
from controller.correcting import bed_learns
from controller.effects import Alert
from controller.flagging import sentence, worth_saying
from controller.hand_orders import hand_json
from controller.learned import learned_json
from controller.mark_orders import marks_json
from controller.pausing import ends_utc_s
from controller.proving.told import walk_json
from controller.run import Run
from controller.scarce_view import supply_json, turn_json, window_json, within_limits
from controller.sensing.flags import Flag
from controller.sensing.sky_sources import Reckoned, source_sentence
from controller.state import BedMemory, Pause, Watering
from controller.stopping import held_s
from controller.telling.hose_orders import hose_json
from controller.telling.sky_orders import foretold_json
from controller.turn_orders import turns_json
from controller.watering.decision import BedView, Reason
from controller.watering.dosing import starts_give_l
from controller.watering.guard import caps_of, latched, may_flow
from controller.watering.hand_guard import barred_by_hand
from controller.watering.limits import STARTS_MOST, starts_left, used_l
from controller.watering.outlook import NextWatering
from controller.watering.policy import line_now_frac
from controller.watering.refusals import REFUSALS
from controller.watering.valves import meter_alive

FIRST_UTC_S = 0.0
LAST_UTC_S = datetime(9999, 1, 1, tzinfo=UTC).timestamp()  # the last year that can be written
HEARD_S = 180.0  # [s] an idle valve is news once a minute (`inbox.IDLE_REPEAT_S`): three missed
DRAWN_IN = {"doubtful": "a probe is in doubt", "none": "no probe to go by"}
HELD = frozenset(
    {
        Reason.NOT_ARMED,
        Reason.VALVE_LATCHED,
        Reason.OTHER_CONTROLLER,
        Reason.CANNOT_RECORD,
        Reason.LINK_LOST,
        Reason.FROST,
        Reason.PROBES_SWAPPED,
        Reason.SUPPLY_LOST,
    }
)


def rfc3339(at_utc_s: float) -> str:
    """An instant as people's programs write it: UTC with `Z`, whole seconds."""
    within_s = min(max(at_utc_s, FIRST_UTC_S), LAST_UTC_S)
    return datetime.fromtimestamp(within_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _rounded(numbers: dict[str, float]) -> dict[str, float]:
    return {key: round(value, 4) for key, value in numbers.items()}


def valve_word(run: Run, valve_id: str) -> str:
    """A valve in one word; `closed` only with evidence."""
    valve = run.state.valves[valve_id]
    bed = run.valve_beds.get(valve_id)
    if bed is not None and latched(run, bed):
        return "latched"
    return valve.state


def valve_heard(run: Run, valve_id: str) -> bool:
    """Whether a valve's node has spoken lately; without that its word is one of the past."""
    state, heard_s = run.state, run.state.valves[valve_id].heard_mono_s
    if not state.link_up or heard_s is None or not heard_s >= state.link_mono_s:
        return False
    return state.mono_s - heard_s <= max(HEARD_S, 3.0 * state.arrival_least_s)


def bed_state(run: Run, view: BedView, code: str) -> str:
    """A bed in one word.

    Args:
        run: the engine's working set.
        view: the bed now, its line as it is shown.
        code: of the last reason.
    """
    bed = view.bed
    state = run.state
    watering = state.waterings.get(bed)
    if state.lock_why is not None:
        return "locked"
    if watering is not None:
        running = watering.pulse is not None
        return "watering" if running else ("soaking" if watering.done else "due")
    if code == Reason.PAUSED:
        return "paused"
    if code == Reason.CLEARED:
        return "cleared"
    if code in HELD or latched(run, bed):
        return "held"
    if view.quality == "none" and not view.waiting:
        return "learning" if bed_learns(run, bed) else "blind"
    return "due" if view.depletion_frac >= _line_frac(run, view) else "drying"


def _shown(view: BedView) -> BedView:
    """Probes that were not yet heard after a start put nothing in doubt: the bed waits for them."""
    return replace(view, quality="ok") if view.waiting else view


def _line_frac(run: Run, view: BedView) -> float:
    """The thirst line that decides now [0..1]."""
    return line_now_frac(_shown(view), sky_of(run))


def _drawn_in(run: Run, view: BedView) -> str | None:
    """Why that line lies before the stage's own; None where it does not."""
    drawn_frac = view.line_frac - _line_frac(run, view)
    if not drawn_frac > 0.0:
        return None
    why = DRAWN_IN.get(_shown(view).quality, "heat is foretold")
    return f"drawn in by {100.0 * drawn_frac:.0f} points: {why}"


def _watering(watering: Watering | None) -> dict[str, Any] | None:
    if watering is None:
        return None
    pulse_l = watering.pulse.given_l if watering.pulse is not None else 0.0
    return {
        "want_l": round(watering.want_l, 1),
        "given_l": round(watering.given_l + pulse_l, 1),
        "pulse": min(watering.done + 1, watering.pulses),
        "pulses": watering.pulses,
        "by": watering.by,
    }


def _last(memory: BedMemory) -> dict[str, Any] | None:
    last_s = memory.last_watering_utc_s
    if last_s is None:
        return None
    return {"at": rfc3339(last_s), "litres": round(memory.last_watering_l, 1)}


def _pause(run: Run, pause: Pause | None) -> dict[str, str] | None:
    if pause is None:
        return None
    return {"until": rfc3339(ends_utc_s(run, pause)), "why": pause.why}


def alert_json(alert: Alert) -> dict[str, Any]:
    """An alert as it crosses every border."""
    return {
        "id": alert.id,
        "code": alert.code,
        "bed": alert.bed,
        "valve": alert.valve,
        "probe": alert.probe,
        "since": rfc3339(alert.since_utc_s),
        "text": alert.text,
        "person_needed": alert.person_needed,
    }


def probe_json(run: Run, name: str) -> dict[str, Any]:
    """A probe as it crosses every border: what it told, what is doubted, what was left out."""
    probe = run.state.probes[name]
    bed = run.senses[name].bed
    return {
        "theta_m3_m3": None if probe.theta_m3_m3 is None else round(probe.theta_m3_m3, 4),
        "trust": probe.trust or "whole",
        "flags": [
            {"code": code, "since": rfc3339(since_s), "text": sentence(run, name, bed, Flag(code))}
            for code, since_s in probe.flags.items()
            if worth_saying(Flag(code))
        ],
        "refused": probe.rejected,
        "battery_v": probe.battery_low_v or next(reversed(probe.battery_days_v), None),
        "counts": {str(code): count for code, count in probe.counts.items()},
    }


def sky_json(reckoned: Reckoned) -> dict[str, Any]:
    """Where the reference evapotranspiration comes from, what was assumed and what refused."""
    return {
        "source": reckoned.source or None,
        "assumed": list(reckoned.assumed),
        "refused": dict(reckoned.refused),
        "eto_sd_frac": round(reckoned.eto_sd_frac, 4),
        "text": source_sentence(reckoned),
    }


def _valve(run: Run, valve_id: str) -> dict[str, Any]:
    return {
        "valve": valve_word(run, valve_id),
        "valve_heard": valve_heard(run, valve_id),
        "may_flow": may_flow(run, valve_id),
    }


def _usual_night(ahead: Outlook, to_come: NextWatering | None) -> dict[str, str] | None:
    """The night of its usual use, unless scarce water or a missed turn leaves no room for it."""
    usual = ahead.usual
    if usual is None or to_come is None:
        return None
    if to_come != ahead.window and not to_come.from_utc_s < usual.to_utc_s <= to_come.to_utc_s:
        return None
    return {"from": rfc3339(usual.from_utc_s), "to": rfc3339(usual.to_utc_s)}


def _bed(run: Run, bed: str) -> dict[str, Any]:
    state, window = run.state, window_now(run)
    view, memory, day = view_of(run, bed, window), state.beds[bed], run.days[bed]
    ahead = outlook_of(run, view, window)
    to_come, scarce = within_limits(run, ahead.taken, ahead.window)
    return {
        "state": bed_state(run, view, memory.said.code),
        "stage": day.stage.value,
        "varieties": list(run.garden.beds[bed].varieties),
        "untried": list(untried(run.garden.beds[bed].crop)),
        "depletion_frac": round(view.depletion_frac, 4),
        "depletion_sd_frac": round(view.spread_frac, 4),
        "thirst_line_frac": round(_line_frac(run, view), 4),
        "line_drawn_in": _drawn_in(run, view),
        "floor_frac": round(view.floor_frac, 4),
        "day_use_frac": round(view.day_use_frac, 4),
        "taw_mm": round(day.taw_mm, 1),
        "taw_l": round(day.taw_mm * view.wetted_area_m2, 1),
        "next_watering": window_json(to_come, rfc3339),
        "usual_night": _usual_night(ahead, to_come),
        "scarce": turn_json(scarce, rfc3339),
        "learned": learned_json(run, bed, rfc3339),
        **hand_json(run, bed, rfc3339),
        **marks_json(run, bed),
        **turns_json(run, bed, rfc3339),
        "reason": {
            "code": memory.said.code,
            "text": memory.said.text,
            "numbers": _rounded(memory.said.numbers),
        },
        "would_change": changes_json(ahead.turns),
        **_valve(run, run.garden.beds[bed].valve),
        "quality": view.quality,
        "probes": {name: probe_json(run, name) for name in run.garden.beds[bed].probes},
        "watering": _watering(state.waterings.get(bed)),
        "last_watering": _last(memory),
        "limit_l_day": round(min(caps_of(run, bed).bed_l_day, starts_l(run, bed, STARTS_MOST)), 1),
    }


def _stopped(run: Run) -> dict[str, str]:
    """Until when a person's stop keeps each bed from drinking by itself."""
    left_s = {bed: held_s(run, bed) for bed in run.garden.beds}
    at_utc_s = run.state.at_utc_s
    return {bed: rfc3339(at_utc_s + s) for bed, s in left_s.items() if s is not None}


def picture(run: Run) -> dict[str, Any]:
    """The whole garden now."""
    state, info = run.state, run.garden.garden
    heard = [probe.at_utc_s for probe in state.probes.values() if probe.mono_s is not None]
    running_l = sum(w.pulse.given_l for w in state.waterings.values() if w.pulse is not None)
    paused = {bed: _pause(run, m.pause) for bed, m in state.beds.items() if m.pause is not None}
    whole = _pause(run, state.pause)
    return {
        "at": rfc3339(state.at_utc_s),
        "garden": {
            "id": info.id,
            "name": info.name or info.id,
            "timezone": info.timezone,
            "units": info.units,
        },
        "link_up": state.link_up,
        "ready": state.ready,
        "clock_synced": state.clock_synced,
        "epoch": state.epoch,
        "readings": state.readings,
        "waterings": state.waterings_started,
        "litres": round(state.litres + running_l, 2),
        "last_reading_at": rfc3339(max(heard)) if heard else None,
        "beds": {bed: _bed(run, bed) for bed in run.garden.beds},
        "sky": {**sky_json(state.sky.reckoned), "foretold": foretold_json(run, rfc3339)},
        "master": None if run.master is None else state.valves[run.master].state,
        "master_heard": None if run.master is None else valve_heard(run, run.master),
        "holds": {
            "locked": state.lock_why is not None,
            "lock_why": state.lock_why or "",
            "paused_until": None if whole is None else whole["until"],
            "pause_why": "" if whole is None else whole["why"],
            "beds_paused": paused,
            "beds_stopped": _stopped(run),
            "hose": hose_json(run, rfc3339),
        },
        "supply": supply_json(run),
        "walk": walk_json(run, rfc3339),
        "alerts": [alert_json(alert) for alert in state.alerts.values()],
    }


def starts_l(run: Run, bed: str, starts: int) -> float:
    """The most that so many starts of a bed's valve can give [L]."""
    flow_l_min, open_most_s = run.garden.beds[bed].flow_l_min, caps_of(run, bed).open_most_s
    return starts_give_l(starts, flow_l_min, open_most_s, metered=meter_alive(run))


def limits_json(run: Run) -> dict[str, Any]:
    """What the limits leave for now [L], and the most that one watering may give."""
    ledger, trusted_s = run.state.ledger, run.trusted_s
    beds = {}
    for bed, setting in run.garden.beds.items():
        caps = caps_of(run, bed)
        left_l = max(0.0, caps.bed_l_day - used_l(ledger, trusted_s, bed))
        beds[bed] = {
            "left_l": min(left_l, starts_l(run, bed, starts_left(ledger, trusted_s, bed))),
            "dose_l": caps.dose_l,
            "flow_l_min": setting.flow_l_min,
            "barred": _barred(run, bed),
        }
    site_left_l = max(0.0, run.garden.site_l_day - used_l(ledger, trusted_s))
    return {"site_left_l": site_left_l, "beds": beds}


def _barred(run: Run, bed: str) -> dict[str, Any] | None:
    """Why no watering by hand may begin now, by the guard that its order will meet, and until when.

    None where one may.
    """
    verdict = barred_by_hand(run, bed)
    if verdict is None or verdict.refused is None:
        return None
    next_s = verdict.next_possible_s
    return {
        "reason": verdict.refused.value,
        "text": REFUSALS[verdict.refused],
        "next_possible": None if not next_s else rfc3339(run.state.at_utc_s + next_s),
    }
