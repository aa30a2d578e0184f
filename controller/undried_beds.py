"""Once an hour: whether what a bed's probes take back of its drying may still be believed.

What they gave the bed leaves it again when they are put out, so that it goes on by its balance.
"""

from __future__ import annotations

from controller.flagging import end_flag, raise_flag
from controller.probe_readings import rain_known
from controller.run import Run
from controller.sensing import taken_back, undried
from controller.sensing.flags import Flag
from controller.state import Pull

ASKS = (Flag.NOT_DRYING, Flag.WET_UNSEEN)


def hour(run: Run, bed: str, was: Pull, names: list[str] | None = None) -> None:
    """Take an hour's correction of a bed into its memory, and judge its probes at a day's end.

    Args:
        run: the engine's working set.
        bed: which was corrected.
        was: its state ahead of that.
        names: its probes that spoke; None: it follows a sister, whose probes are not its own.
    """
    memory, water, taw_mm = run.state.beds[bed].undried, run.state.water[bed], run.days[bed].taw_mm
    known = was.var_mm2 <= (undried.FIRST_SD_FRAC * taw_mm) ** 2
    ended = undried.hour(
        memory,
        given_mm=was.lacks_mm - (water.depletion_mm - water.over_mm) if known else 0.0,
        used_mm=water.used_mm,
        log_thirst=was.log_thirst,
        rain_seen=rain_known(run),
    )
    if not ended or not names:
        return
    bare = run.soils[bed].uncalibrated
    if undried.is_sure(memory, taw_mm, bare=bare):
        _ask(run, bed, names, Flag.NOT_DRYING)
        for one, setting in run.garden.beds.items():
            if one == bed or setting.like == bed:
                _leave(run, one)
    elif undried.is_doubtful(memory, taw_mm, bare=bare):
        _ask(run, bed, names, Flag.WET_UNSEEN)
    elif memory.sum_mm <= 0.0 and memory.asked and not _is_out(run, memory.asked):
        _believe(run, bed)  # they dry again


def _ask(run: Run, bed: str, names: list[str], flag: Flag) -> None:
    memory = run.state.beds[bed].undried
    if not memory.asked:
        memory.asked_utc_s = run.state.at_utc_s
    memory.asked = sorted({*memory.asked, *names})
    for name in names:
        raise_flag(run, name, flag)
        if flag is Flag.NOT_DRYING:
            end_flag(run, name, Flag.WET_UNSEEN)


def _leave(run: Run, bed: str) -> None:
    """Let what the probes gave a bed leave it."""
    memory, water = run.state.beds[bed].undried, run.state.water[bed]
    thirst = water.log_thirst if memory.log_thirst is None else memory.log_thirst
    taken_back.leave(water, run.days[bed].taw_mm, memory.given_mm, thirst)
    undried.begin_anew(memory)
    run.nudge = True


def mind_end(run: Run, bed: str) -> None:
    """Where one of the probes that somebody was asked about is believed again, all are."""
    memory = run.state.beds[bed].undried
    if not all(_is_asked(run, one) for one in memory.asked):
        _believe(run, bed)


def _is_asked(run: Run, name: str) -> bool:
    probe = run.state.probes.get(name)
    return probe is not None and any(flag in probe.flags for flag in ASKS)


def _is_out(run: Run, names: list[str]) -> bool:
    return any(Flag.NOT_DRYING in run.state.probes[name].flags for name in names)


def vouch(run: Run, bed: str, name: str) -> None:
    """A hand in the soil agrees with a probe: what it told with the others of its bed was right.

    Args:
        run: the engine's working set.
        bed: where it is.
        name: the probe; one that nobody is asked about says nothing of those that are.
    """
    memory = run.state.beds[bed].undried
    if name in memory.asked:
        _believe(run, bed)
    elif not memory.asked:
        undried.begin_anew(memory)


def _believe(run: Run, bed: str) -> None:
    """The probes of a bed that somebody is asked about are believed again."""
    for name in run.garden.beds[bed].probes:
        for flag in ASKS:
            end_flag(run, name, flag)
    memory = run.state.beds[bed].undried
    undried.cleared(memory, run.state.water[bed].wetted_utc_s)
