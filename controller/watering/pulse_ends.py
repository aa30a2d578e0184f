"""What ends a pulse that runs: its litres, its time, its hours, or what goes wrong."""

from __future__ import annotations

from controller.dose_lessons import is_down
from controller.proving.rise import stays_dry
from controller.run import ACK_S, Run
from controller.state import Pulse, ValveState, Watering
from controller.watering.guard import STARTED_STATES

DRY_AFTER_S = 60.0
DRY_PULSES = 3.0
SILENT_S = 75.0  # an open valve tells its state every 20 s: three words of it are missing
METER_SILENT_S = 150.0  # a meter tells its total once a minute at least: two words are missing


def ended_by_now(run: Run, watering: Watering, pulse: Pulse, valve: ValveState) -> str:
    """What ends this pulse now; empty where nothing does.

    Args:
        run: the engine's working set.
        watering: whose pulse.
        pulse: it runs; what it has given is reckoned here where no meter counts.
        valve: its bed's.
    """
    now_s = run.state.mono_s
    first_s = pulse.first_lease_mono_s if pulse.first_lease_mono_s is not None else now_s
    elapsed_s = now_s - first_s
    if valve.state not in STARTED_STATES:
        return "node"
    if watering.proof != "shut" and master_gone(run):
        return "master"
    if valve.confirmed_mono_s is None or fell_silent(run, pulse):
        return "silent" if elapsed_s > run.arrival_s(ACK_S) else ""
    if pulse.metered and _meter_fell_silent(run, elapsed_s):
        pulse.metered, pulse.by_time = False, True
    if not pulse.metered:
        flow_l_min = run.garden.beds[pulse.bed].flow_l_min
        pulse.given_l = flow_l_min * (now_s - valve.confirmed_mono_s) / 60.0
    if pulse.given_l >= pulse.want_l:
        return "litres"
    if elapsed_s >= pulse.open_s:
        return "time"
    if watering.until_utc_s is not None and run.state.at_utc_s >= watering.until_utc_s:
        return "hours"
    if is_down(run, watering):
        return "down"
    return "dry" if pulse.metered and _is_dry(run, pulse, elapsed_s) else ""


def _is_dry(run: Run, pulse: Pulse, elapsed_s: float) -> bool:
    """Whether no water comes: by the meter, or beside others by its rise that stays away."""
    if pulse.given_l <= 0.0:
        heard_s, first_s = run.state.meter.mono_s, pulse.first_lease_mono_s
        spoke = heard_s is not None and (first_s is None or heard_s >= first_s)
        return spoke and elapsed_s >= _dry_after_s(run, pulse)
    if stays_dry(run, pulse):
        pulse.given_l = 0.0  # its share of the count was the others'
        return True
    return False


def master_gone(run: Run) -> bool:
    """Whether the garden has a master valve and it is not open."""
    return run.master is not None and run.state.valves[run.master].opened_mono_s is None


def fell_silent(run: Run, pulse: Pulse) -> list[str]:
    """Of its valve and the open master: which told nothing for so long that no lease reaches it."""
    now_s, most_s, known = run.state.mono_s, run.arrival_s(SILENT_S), run.state.valves
    silent: list[str] = []
    for name in (pulse.valve, run.master):
        if name is None or known[name].opened_mono_s is None:
            continue
        if now_s - (known[name].heard_mono_s or 0.0) > most_s:
            silent.append(name)
    return silent


def _meter_fell_silent(run: Run, elapsed_s: float) -> bool:
    """Whether the meter said nothing for so long, all of it while this valve was open."""
    heard_s = run.state.meter.mono_s
    most_s = run.arrival_s(METER_SILENT_S)
    if elapsed_s <= most_s or (heard_s is not None and run.state.mono_s - heard_s <= most_s):
        return False
    run.raise_alert(
        "meter_fault",
        "The meter says nothing while water should run. This watering goes by time and is charged "
        "in full. Look at its node.",
        part="silent",
    )
    return True


def _dry_after_s(run: Run, pulse: Pulse) -> float:
    flow_l_min = run.garden.beds[pulse.bed].flow_l_min
    return max(run.arrival_s(DRY_AFTER_S), 60.0 * DRY_PULSES * _litres_per_pulse(run) / flow_l_min)


def _litres_per_pulse(run: Run) -> float:
    meter = run.garden.supply.meter
    return 0.0 if meter is None else run.garden.meters[meter].litres_per_pulse
