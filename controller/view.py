"""What the garden looks like to people and programs: one JSON-able picture of the engine.

The same picture serves `status --json`, `demo --json`, `GET /api/garden` and the page. Instants
are RFC 3339 in UTC, fractions 0..1 of TAW, litres.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from controller.effects import Alert
from controller.judge import place_of, view_of, window_now
from controller.run import Run
from controller.state import Pause, Watering
from controller.watering.guard import caps_of, latched, may_flow
from controller.watering.outlook import next_watering
from controller.watering.policy import REFILL_TO_FRAC, Reason

FIRST_UTC_S = 0.0
LAST_UTC_S = datetime(9999, 1, 1, tzinfo=UTC).timestamp()  # the last year that can be written
HELD = frozenset(
    {
        Reason.NOT_ARMED,
        Reason.VALVE_LATCHED,
        Reason.OTHER_CONTROLLER,
        Reason.CANNOT_RECORD,
        Reason.LINK_LOST,
        Reason.FROST,
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


def bed_state(run: Run, bed: str, code: str, quality: str) -> str:
    """A bed in one word."""
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
    if quality == "none":
        return "blind"
    view = run.state.water[bed].depletion_mm / run.days[bed].taw_mm
    return "due" if view >= run.days[bed].line_frac else "drying"


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


def _pause(pause: Pause | None) -> dict[str, str] | None:
    return None if pause is None else {"until": rfc3339(pause.until_utc_s), "why": pause.why}


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


def _bed(run: Run, bed: str) -> dict[str, Any]:
    state, window = run.state, window_now(run)
    view, memory, day = view_of(run, bed, window), state.beds[bed], run.days[bed]
    ahead = replace(view, depletion_frac=REFILL_TO_FRAC) if bed in state.waterings else view
    hours = run.garden.garden.hours
    to_come = next_watering(ahead, hours, place_of(run), state.at_utc_s)
    last_s = memory.last_watering_utc_s
    return {
        "state": bed_state(run, bed, memory.said.code, "ok" if view.waiting else view.quality),
        "stage": day.stage.value,
        "depletion_frac": round(view.depletion_frac, 4),
        "depletion_sd_frac": round(view.spread_frac, 4),
        "thirst_line_frac": round(view.line_frac, 4),
        "floor_frac": round(view.floor_frac, 4),
        "day_use_frac": round(view.day_use_frac, 4),
        "taw_mm": round(day.taw_mm, 1),
        "taw_l": round(day.taw_mm * view.wetted_area_m2, 1),
        "next_watering": None
        if to_come is None
        else {"from": rfc3339(to_come.from_utc_s), "to": rfc3339(to_come.to_utc_s)},
        "reason": {
            "code": memory.said.code,
            "text": memory.said.text,
            "numbers": _rounded(memory.said.numbers),
        },
        "valve": valve_word(run, run.garden.beds[bed].valve),
        "may_flow": may_flow(run, run.garden.beds[bed].valve),
        "quality": view.quality,
        "watering": _watering(state.waterings.get(bed)),
        "last_watering": None
        if last_s is None
        else {"at": rfc3339(last_s), "litres": round(memory.last_watering_l, 1)},
        "limit_l_day": round(caps_of(run, bed).bed_l_day, 1),
    }


def picture(run: Run) -> dict[str, Any]:
    """The whole garden now."""
    state, info = run.state, run.garden.garden
    heard = [probe.at_utc_s for probe in state.probes.values() if probe.mono_s is not None]
    running_l = sum(w.pulse.given_l for w in state.waterings.values() if w.pulse is not None)
    paused = {bed: _pause(m.pause) for bed, m in state.beds.items() if m.pause is not None}
    whole = _pause(state.pause)
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
        "epoch": state.epoch,
        "readings": state.readings,
        "waterings": state.waterings_started,
        "litres": round(state.litres + running_l, 2),
        "last_reading_at": rfc3339(max(heard)) if heard else None,
        "beds": {bed: _bed(run, bed) for bed in run.garden.beds},
        "master": None if run.master is None else state.valves[run.master].state,
        "holds": {
            "locked": state.lock_why is not None,
            "lock_why": state.lock_why or "",
            "paused_until": None if whole is None else whole["until"],
            "pause_why": "" if whole is None else whole["why"],
            "beds_paused": paused,
        },
        "alerts": [alert_json(alert) for alert in state.alerts.values()],
    }
