"""The pressure behind the regulator, where the meter's node tells it (E4).

Over one and a half times what the garden file says, the regulator or what stands for it has failed:
everything closes until a person has looked. Under half of it while water runs, the supply is at
fault: what drinks ends, and it is tried again as after a supply that is gone. A surge is shorter
than the time between two words, so two in a row have to say it. The two shares are our own
proposals: a regulator holds its pressure by far less.
"""

from __future__ import annotations

from controller.events import PressureReading
from controller.run import Run
from controller.watering.settling import cut, cut_all
from controller.watering.supply import rest

HIGH_FRAC = 1.5  # of `[supply] pressure_kpa`
LOW_FRAC = 0.5
WORDS = 2  # in a row
SETTLES_S = 60.0  # after a valve has moved the lines fill


def pressure_reading(run: Run, event: PressureReading) -> None:
    """The meter's node tells the pressure: too much, too little while water runs, or sound."""
    usual_kpa, told = run.garden.supply.pressure_kpa, run.state.meter.pressure
    if usual_kpa is None or event.meter != run.garden.supply.meter:
        return
    if event.boot == told.boot and event.up_s <= told.up_s:
        return  # said twice
    told.boot, told.up_s = event.boot, event.up_s
    sound = event.pressure_kpa <= HIGH_FRAC * usual_kpa
    told.high_words = 0 if sound else told.high_words + 1
    sound = not _runs(run) or event.pressure_kpa >= LOW_FRAC * usual_kpa
    told.low_words = 0 if sound else told.low_words + 1
    if told.high_words >= WORDS:
        _too_high(run, event.pressure_kpa, usual_kpa)
    elif told.low_words >= WORDS:
        told.low_words = 0
        _too_low(run, event.pressure_kpa, usual_kpa)


def _runs(run: Run) -> bool:
    """Whether a bed drinks, and no valve has moved for a minute."""
    state = run.state
    drinks = any(
        watering.pulse is not None and watering.pulse.phase == "running" and not watering.proof
        for watering in state.waterings.values()
    )
    moved_s = [valve.moved_mono_s for valve in state.valves.values()]
    last_s = max((edge_s for edge_s in moved_s if edge_s is not None), default=0.0)
    return drinks and state.mono_s - last_s >= SETTLES_S


def _too_high(run: Run, told_kpa: float, usual_kpa: float) -> None:
    if "pressure_high" in run.state.alerts:
        return
    cut_all(run, "fault")
    run.close_all()
    run.raise_alert(
        "pressure_high",
        f"{told_kpa:.0f} kPa stand in the pipe where {usual_kpa:.0f} should: the regulator may "
        "have failed. Everything is closed until a person has looked.",
        person=True,
    )


def _too_low(run: Run, told_kpa: float, usual_kpa: float) -> None:
    for bed, watering in list(run.state.waterings.items()):
        if not watering.proof:
            cut(run, bed, "pressure")
    rest(
        run,
        f"{told_kpa:.0f} kPa stand in the pipe while water runs, where {usual_kpa:.0f} should: the "
        "supply is too weak. Look at tap, pump, filter and regulator. It is tried again within two "
        "hours.",
    )
