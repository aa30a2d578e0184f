"""A wall clock that was put back: what is dated in the future is dated now.

A board without a clock of its own may water under a wrong date before the network tells the right
one. A stamp that lies ahead would count as fresh until the clock has caught up with it: a bed
"watered tonight" for weeks. Elapsed time is taken from stamps only where no trusted time is kept.
"""

from __future__ import annotations

from dataclasses import replace

from controller.run import Run


def turn_back(run: Run, at_utc_s: float) -> None:
    """Let no stamp of what was lie ahead of the clock.

    Args:
        run: the engine's working set.
        at_utc_s: now, by the clock that was put back [s, Unix].
    """
    state = run.state
    for memory in state.beds.values():
        memory.last_watering_utc_s = _past(memory.last_watering_utc_s, at_utc_s)
        if memory.poured is not None and memory.poured.at_utc_s > at_utc_s:
            memory.poured = replace(memory.poured, at_utc_s=at_utc_s)
        if memory.due is not None and memory.due.since_utc_s > at_utc_s:
            from_utc_s = min(memory.due.from_utc_s, at_utc_s)
            memory.due = replace(memory.due, since_utc_s=at_utc_s, from_utc_s=from_utc_s)
        memory.limp_utc_s = _past(memory.limp_utc_s, at_utc_s)
        memory.eye.at_utc_s = min(memory.eye.at_utc_s, at_utc_s)
    for water in state.water.values():
        water.wetted_utc_s = _past(water.wetted_utc_s, at_utc_s)
        water.soak_utc_s = _past(water.soak_utc_s, at_utc_s)
    today = run.local_day(at_utc_s).toordinal()
    given_l = state.scarce.given_l
    for day in [day for day in given_l if day > today]:
        given_l[today] = given_l.get(today, 0.0) + given_l.pop(day)
    for probe in state.probes.values():
        probe.odd_utc_s = _past(probe.odd_utc_s, at_utc_s)
        probe.at_utc_s = min(probe.at_utc_s, at_utc_s)
    for care in state.care.values():
        care.dawn_utc_s = _past(care.dawn_utc_s, at_utc_s)
        care.against_hand_utc_s = _past(care.against_hand_utc_s, at_utc_s)
        care.strayed_utc_s = _past(care.strayed_utc_s, at_utc_s)
        care.inside_utc_s = _past(care.inside_utc_s, at_utc_s)


def _past(stamp_utc_s: float | None, at_utc_s: float) -> float | None:
    return None if stamp_utc_s is None else min(stamp_utc_s, at_utc_s)
