"""How long a bed has had no probe to go by, and what is known of it all the same."""

from __future__ import annotations

from dataclasses import replace

from controller.correcting import bed_learns
from controller.garden import BLIND_DAYS_NO_WEATHER
from controller.run import Run
from controller.sensing.quality import usable
from controller.sensing.sky_sources import KNOWN
from controller.watering.decision import Blind, Learning
from controller.watering.words import bed_name

DAY_S = 86_400.0
DOUBTS = frozenset(  # alerts by which a valve or the meter is not known to do what it is told
    {"meter_fault", "valve_silent", "valve_stuck_closed", "valve_stuck_open", "burst", "leak"}
)


def weather_known(run: Run) -> bool:
    """Whether today's water use comes from a mast or an outlook, not from what is usual."""
    source = run.state.sky.reckoned.source
    return not source or source in KNOWN


def limit_d(run: Run) -> int:
    """How long a blind bed is watered before only the smallest dose remains [d]."""
    told = run.garden.limits.blind_days
    if told is not None:
        return told
    return run.garden.blind_days if weather_known(run) else BLIND_DAYS_NO_WEATHER


def blind_d(run: Run, bed: str) -> float:
    """For how long a bed has had no probe to go by, by the trusted clock [d]."""
    since_s = run.state.beds[bed].blind_trusted_s
    return 0.0 if since_s is None else max(0.0, run.trusted_s - since_s) / DAY_S


def blind_of(run: Run, bed: str) -> Blind:
    """How much is known of a bed without a valid probe."""
    if blind_d(run, bed) > limit_d(run):
        return Blind.UNSOUND if _doubted(run, bed) else Blind.SMALLEST
    return Blind.REDUCED if weather_known(run) else Blind.NORMALS


def _doubted(run: Run, bed: str) -> bool:
    """Whether the bed's valve or the meter is not sound."""
    valve = run.garden.beds[bed].valve
    return any(
        alert.code in DOUBTS
        and (alert.bed in {None, bed} or alert.valve == valve)
        and alert.valve in {None, valve, run.master}
        for alert in run.state.alerts.values()
    )


def learns_now(run: Run, bed: str) -> bool:
    """Whether a bed's bare counts are still learned, and one of its probes speaks."""
    if not bed_learns(run, bed):
        return False
    state, probes = run.state, run.garden.probes
    since_s = max(state.started_mono_s, state.link_mono_s)
    return any(
        usable(state.probes[name], probes[name].every_s, since_s, state.mono_s)
        for name in run.garden.beds[bed].probes
    )


def learning_of(run: Run, bed: str) -> Learning:
    """Whether a bed's bare counts are still learned, and its first soak is to come."""
    if not learns_now(run, bed):
        return Learning.NO
    first = run.state.beds[bed].last_watering_utc_s is None
    return Learning.FIRST_SOAK if first else Learning.DRYING


def mind_blind(run: Run, bed: str, quality: str, *, waiting: bool) -> None:
    """Keep count of a bed's blind days, and call each day once they are too many.

    Args:
        run: the engine's working set.
        bed: which.
        quality: how well its probes speak.
        waiting: whether they still have time to.

    A bed that was never given a probe is not counted: nobody can put that right overnight.
    """
    memory, setting = run.state.beds[bed], run.garden.beds[bed]
    teller = bed if setting.probes else setting.like
    if quality != "none" or teller is None or learns_now(run, teller):
        memory.blind_trusted_s = memory.blind_called_trusted_s = None
        return
    if waiting:
        return
    if memory.blind_trusted_s is None:
        memory.blind_trusted_s = run.trusted_s
    called_s = memory.blind_called_trusted_s
    if blind_d(run, bed) > limit_d(run) and (called_s is None or run.trusted_s - called_s >= DAY_S):
        memory.blind_called_trusted_s = run.trusted_s
        _call(run, bed)


def _call(run: Run, bed: str) -> None:
    """Raise the bed's alert anew, with the days; it stands since it first did."""
    key = f"bed_blind-{bed}"
    before = run.state.alerts.pop(key, None)
    run.raise_alert(
        "bed_blind",
        f"{bed_name(bed)} has had no probe to go by for {blind_d(run, bed):.0f} days: it gets only "
        "the smallest doses, and none while its valve or the meter is in doubt. Put its probes "
        "right.",
        bed=bed,
    )
    if before is not None:
        alert = run.state.alerts[key]
        run.state.alerts[key] = replace(alert, since_utc_s=before.since_utc_s)
