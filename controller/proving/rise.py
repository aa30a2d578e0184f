"""Where several beds drink at once: whether the meter's flow rose when one of them opened (V2).

Judged once, over the first minute, where the walk measured all of them and no other valve moved
meanwhile.
"""

from __future__ import annotations

from controller.proving.arming import fill_of, flow_of
from controller.run import Run
from controller.state import Pulse

RISE_S = 60.0
RISE_SHARE = 0.5  # of the flow that its walk found


def stays_dry(run: Run, pulse: Pulse) -> bool:
    """Whether a bed that opened beside others takes less than half of its flow.

    Args:
        run: the engine's working set.
        pulse: its opening, confirmed by its node; the stretch that is measured is kept in it.
    """
    if pulse.beside or pulse.rise_told or fill_of(run, pulse.bed) is None:
        return False
    others = _others(run, pulse)
    if not others:
        return False
    if any(fill_of(run, bed) is None for bed in others) or _moved(run, pulse):
        return False
    meter = run.state.meter
    total_l = meter.litres_total
    if total_l is None or meter.mono_s is None:
        return False
    if pulse.from_up_s is None:
        pulse.from_up_s, pulse.from_l, pulse.from_boot = meter.up_s, total_l, meter.boot
        return False
    over_s = meter.up_s - pulse.from_up_s
    if over_s < RISE_S:
        return False
    pulse.rise_told = True
    if meter.boot != pulse.from_boot:
        return False
    rise_l_min = 60.0 * (total_l - pulse.from_l) / over_s - sum(flow_of(run, bed) for bed in others)
    return not rise_l_min >= RISE_SHARE * flow_of(run, pulse.bed)


def _others(run: Run, pulse: Pulse) -> list[str]:
    """The beds that drink beside it."""
    waterings = run.state.waterings.values()
    return [
        one.bed
        for one in waterings
        if one.pulse is not None and one.bed != pulse.bed and one.pulse.phase == "running"
    ]


def _moved(run: Run, pulse: Pulse) -> bool:
    """Whether another valve has moved since this one opened."""
    since_s = pulse.first_lease_mono_s or 0.0
    edges = [valve.moved_mono_s for name, valve in run.state.valves.items() if name != pulse.valve]
    return any(edge is not None and edge >= since_s for edge in edges)
