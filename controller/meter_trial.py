"""A meter that stands still (M3): one trial tells it from a supply that is gone.

After two beds came dry the next that is due gets its smallest dose by time, whatever the meter
says: at most once in 24 hours of trusted time, never with a pump, and only where a probe can feel
it. It is charged with its whole reservation, and nothing of it is believed. Where a probe answers,
the meter is dead: waterings go by time from then on, each charged in full, with an alert, until the
meter counts again. Where none does it was the supply.
"""

from __future__ import annotations

from controller.dose_lessons import trusted_now
from controller.probe_care import rise_m3_m3
from controller.run import Run
from controller.sensing import stimulus
from controller.state import Watering
from controller.water_state import DeadMeter
from controller.watering.supply import DRY_BEDS, water_came
from controller.watering.words import bed_name

DAY_S = 86_400.0


def try_by_time(run: Run, watering: Watering) -> None:
    """Make a watering that is about to begin the trial, where one is due.

    Args:
        run: the engine's working set.
        watering: of the policy, planned as usual; cut to its smallest dose.
    """
    bed, dead = watering.bed, run.state.meter.dead
    tried_s = dead.tried_trusted_s
    lately = tried_s is not None and run.trusted_s - tried_s < DAY_S
    pump = any(valve.role == "pump" for valve in run.garden.valves.values())
    if len(run.state.dry_beds) < DRY_BEDS or lately or pump or not _feeling(run, watering):
        return
    dead.tried_trusted_s, dead.bed = run.trusted_s, bed
    dead.probes, dead.hours, dead.rain_mm = _feeling(run, watering), 0, 0.0
    share = min(1.0, watering.least_l / watering.pulse_l)
    watering.pulses, watering.want_l = 1, share * watering.pulse_l
    watering.pulse_l, watering.pulse_s = share * watering.pulse_l, share * watering.pulse_s
    watering.trial = True
    text = f"{bed_name(bed)} gets {watering.want_l:.0f} L by time: do its probes feel it?"
    run.note("watering", bed, "meter_trial", text, {"want_l": watering.want_l})


def _feeling(run: Run, watering: Watering) -> list[str]:
    """The bed's trusted probes that would have to feel its smallest dose: the upper ones, dry."""
    bed, soil = watering.bed, run.soils[watering.bed]
    given_mm = watering.least_l / soil.wetted_area_m2
    full = soil.field_capacity_m3_m3
    available = full - soil.wilting_point_m3_m3
    return [
        name
        for name, told in trusted_now(run, bed).items()
        if given_mm >= stimulus.DOSE_LEAST_MM
        and stimulus.before_m3_m3(run.state.probes[name].hours_m3_m3, 0) is not None
        and not stimulus.reads_full(told, full, available)
        and stimulus.reach_frac(
            content_m3_m3=told,
            full_m3_m3=full,
            available_m3_m3=available,
            given_mm=given_mm,
            depth_cm=run.garden.probes[name].depth_cm,
        )
        >= stimulus.REACH_TOP
    ]


def hour_ended(run: Run) -> None:
    """Whether a probe of the trial's bed felt it; the hours of all probes were kept before."""
    dead = run.state.meter.dead
    bed = dead.bed
    if not bed:
        return
    if bed not in run.garden.beds:
        dead.bed = ""
        return
    dead.hours += 1
    dead.rain_mm += run.state.beds[bed].rain_hour_mm
    if dead.rain_mm >= stimulus.RAIN_VOIDS_MM:
        dead.bed = ""
    elif any(_felt(run, bed, name, dead.hours) for name in dead.probes):
        _found_dead(run, bed)
    elif dead.hours > stimulus.WINDOW_MOST_H:
        dead.bed = ""


def _felt(run: Run, bed: str, name: str, hours: int) -> bool:
    if name not in run.garden.beds[bed].probes:
        return False
    told = run.state.probes[name].hours_m3_m3
    before, rise = stimulus.before_m3_m3(told, hours), rise_m3_m3(run, bed, name, hours)
    if before is None or rise is None:
        return False
    room = run.soils[bed].field_capacity_m3_m3 - before
    return rise >= stimulus.moved_least_m3_m3(room, clear=True)


def _found_dead(run: Run, bed: str) -> None:
    dead = run.state.meter.dead
    dead.bed, dead.found = "", True
    water_came(run)
    for dry, setting in run.garden.beds.items():
        run.end_alert("valve_stuck_closed", dry, setting.valve)
    run.nudge = True
    run.raise_alert(
        "meter_fault",
        f"The meter counts nothing, although {bed_name(bed)}'s soil felt the water of a trial. "
        "Waterings go by time, each charged in full, and leaks are not seen. Mend the meter.",
        part="dead",
    )


def begin_run(run: Run) -> None:
    """A process begins: an answer that was waited for does not come any more."""
    dead = run.state.meter.dead
    run.state.meter.dead = DeadMeter(found=dead.found, tried_trusted_s=dead.tried_trusted_s)
