"""What a person felt and saw: soil in the hand, leaves in the morning.

Each order gives its answer as a `Reply`; `orders.py` records and sends it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from controller import undried_beds
from controller.correcting import believe_bed, feel_bed, is_heard
from controller.effects import Picked
from controller.flagging import end_flag, raise_flag
from controller.probe_care import content_m3_m3
from controller.run import Run
from controller.sensing import by_hand
from controller.sensing.by_hand import FEEL_WORDS, Feel
from controller.sensing.flags import Flag
from controller.sensing.quality import fresh
from controller.sensing.spread import parts, spread_frac
from controller.state import BedMemory, Felt, ProbeCare
from controller.watering import eye
from controller.watering.eye import Leaves, Says, When
from controller.watering.words import bed_name, percent

MIDDAY = (
    "At midday leaves may hang in the heat and be up again by evening: that moves nothing. Look "
    "again in the morning."
)
AGAINST_ENOUGH = 2  # feels in a row that a probe contradicts
WIDENED_SD_FRAC = 0.2  # of TAW: a state that a doubted probe had a say in is a guess again


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """What became of an order: `accepted` and kept, `refused` for now, `invalid`, or `unknown`."""

    status: Literal["accepted", "refused", "invalid", "unknown"]
    reason: str
    text: str
    note: str = ""  # for the record
    effect: Picked | None = None  # for the season book


def _invalid(reason: str, text: str) -> Reply:
    return Reply(status="invalid", reason=reason, text=text)


def soil(run: Run, bed: str, told: str, depth_cm: float | None) -> Reply:
    """Somebody felt the soil: doubt or trust the probes beside it, then correct the bed.

    Args:
        run: the engine's working set.
        bed: whose.
        told: `dry`, `just_moist` or `wet`.
        depth_cm: where [cm], above 0 and at most 100.
    """
    if told not in set(Feel):
        return _invalid("feel", "Soil feels dry, just_moist or wet.")
    if depth_cm is None or not 0.0 < depth_cm <= by_hand.DEPTH_MOST_CM:
        return _invalid("depth_cm", "A depth is above 0 and at most 100 cm.")
    felt = Feel(told)
    state = run.state
    memory, water, day = state.beds[bed], state.water[bed], run.days[bed]
    _hold_probes(run, bed, felt, depth_cm)
    before_frac = water.depletion_mm / day.taw_mm
    feel_bed(run, bed, felt, depth_cm)
    memory.felt = Felt(feel=felt.value, depth_cm=depth_cm, at_utc_s=state.at_utc_s)
    memory.judged_from_utc_s = None
    _answer_limp(memory, felt, state.at_utc_s)
    run.nudge = True
    after_frac = water.depletion_mm / run.days[bed].taw_mm
    words = f"{FEEL_WORDS[felt]} at {depth_cm:.0f} cm"
    beside = (
        "that is counted with what its probes tell. By both" if is_heard(run, bed) else "by that"
    )
    text = (
        f"{bed_name(bed)} was felt {words}: {beside} {percent(after_frac)} of its water is used, "
        f"before it was {percent(before_frac)}."
    )
    return Reply(status="accepted", reason="felt", text=text, note=f"felt {words}")


def _answer_limp(memory: BedMemory, felt: Feel, at_utc_s: float) -> None:
    """Leaves that hung within a day over soil felt dry are thirst; over soil felt wet they are not.

    Args:
        memory: the bed's, changed in place.
        felt: what was felt now.
        at_utc_s: now [s, Unix].
    """
    hung_s = memory.hung_utc_s
    if felt is Feel.WET:
        memory.limp_utc_s = memory.hung_utc_s = None
    elif felt is Feel.DRY and hung_s is not None and 0.0 <= at_utc_s - hung_s < by_hand.STANDS_S:
        memory.limp_utc_s = at_utc_s


def _hold_probes(run: Run, bed: str, felt: Feel, depth_cm: float) -> None:
    """Hold a bed's probes beside the hand: those at its depth, and what it says of them the others.

    Two probes that are wrong together, by the soil that the garden file names, agree: a hand that
    doubts the one doubts the other with it, as long as it does.
    """
    told = {name: layer_frac(run, bed, name) for name in run.garden.beds[bed].probes}
    fracs = {name: frac for name, frac in told.items() if frac is not None}
    beside = [n for n in fracs if by_hand.near(run.garden.probes[n].depth_cm, depth_cm)]
    for name in beside:
        _hold_beside(run, bed, name, felt, fracs[name])
    if not beside:
        return
    doubted = [n for n in beside if Flag.AGAINST_HAND in run.state.probes[n].flags]
    line_frac = run.days[bed].line_frac
    for name in [n for n in fracs if n not in beside]:
        against = by_hand.contradicts(felt, line_frac, fracs[name])
        if against and any(by_hand.is_alike(fracs[name], fracs[one]) for one in doubted):
            _doubt(run, name, felt, fracs[name], line_frac)
        elif not doubted and not _counted_against(run, name):
            end_flag(run, name, Flag.AGAINST_HAND)


def _counted_against(run: Run, name: str) -> bool:
    """Whether feels at a probe's own depth spoke against it."""
    care = run.state.care.get(name)
    return care is not None and care.against_hand >= AGAINST_ENOUGH


def _hold_beside(run: Run, bed: str, name: str, felt: Feel, probe_frac: float) -> None:
    """Hold one probe beside the hand: against it on two occasions in a row, it is outranked."""
    day, water = run.days[bed], run.state.water[bed]
    if not by_hand.contradicts(felt, day.line_frac, probe_frac):
        if name in run.state.care:
            run.state.care[name].against_hand = 0
            run.state.care[name].against_hand_utc_s = None
        end_flag(run, name, Flag.AGAINST_HAND)
        undried_beds.vouch(run, bed, name)
        return
    care = run.state.care.setdefault(name, ProbeCare())
    last_s, now_s = care.against_hand_utc_s, run.state.at_utc_s
    if last_s is not None and now_s - last_s < by_hand.OCCASION_S:
        return
    care.against_hand, care.against_hand_utc_s = care.against_hand + 1, now_s
    if care.against_hand >= AGAINST_ENOUGH:
        _doubt(run, name, felt, probe_frac, day.line_frac)
        water.var_mm2 = max(water.var_mm2, (WIDENED_SD_FRAC * day.taw_mm) ** 2)


def _doubt(run: Run, name: str, felt: Feel, probe_frac: float, line_frac: float) -> None:
    """Raise a probe's flag for a hand, and remember on which side of the hand it told."""
    if Flag.AGAINST_HAND not in run.state.probes[name].flags:
        care = run.state.care.setdefault(name, ProbeCare())
        care.told_wetter = probe_frac < by_hand.told_frac(felt, line_frac)
    raise_flag(run, name, Flag.AGAINST_HAND)


def layer_frac(run: Run, bed: str, name: str) -> float | None:
    """What a probe tells of its layer, as a depletion [0..1]; None where nothing fresh is known."""
    state = run.state
    since_s = max(state.started_mono_s, state.link_mono_s)
    probe = state.probes[name]
    if not fresh(probe, run.garden.probes[name].every_s, since_s, state.mono_s):
        return None
    theta = content_m3_m3(run, bed, name, probe.theta_m3_m3)
    if theta is None or not math.isfinite(theta):
        return None
    ground = run.soils[bed]
    available = ground.field_capacity_m3_m3 - ground.wilting_point_m3_m3
    return (ground.field_capacity_m3_m3 - theta) / available


def look(run: Run, bed: str, leaves: int | None, when: str) -> Reply:
    """Somebody looked at the leaves: move the bed's line, or water a limp bed that is not wet.

    Where nothing but the balance tells of the bed, the look corrects that too.

    Args:
        run: the engine's working set.
        bed: whose.
        leaves: 0 upright, 1 slightly rolled, 2 limp.
        when: `morning` or `midday`; empty: seen now, so the garden's clock says which.
    """
    if leaves not in set(Leaves):
        return _invalid("leaves", "Leaves are 0 upright, 1 slightly rolled or 2 limp.")
    if when and when not in set(When):
        return _invalid("when", "One looks in the morning or at midday.")
    state, seen = run.state, Leaves(leaves)
    told = When(when) if when else eye.when_by_clock(_local(run).hour)
    memory, water, day = state.beds[bed], state.water[bed], run.days[bed]
    depletion_frac = water.depletion_mm / day.taw_mm
    books = None if is_heard(run, bed) else _books_after(run, bed, seen)
    if seen is Leaves.LIMP and told is When.MORNING:
        depletion_frac = _outranked_frac(run, bed, depletion_frac)
    says = eye.look(
        memory.eye,
        seen,
        told,
        depletion_frac=depletion_frac,
        spread_frac=_changing_frac(run, bed),
        line_frac=day.line_frac,
        at_utc_s=state.at_utc_s,
    )
    text = _look_text(bed, memory, seen, says, depletion_frac)
    if not when and told is When.MIDDAY:
        text = _past_morning(run)
    if told is When.MORNING:
        memory.hung_utc_s = state.at_utc_s if seen is Leaves.LIMP else None
    if says is Says.LEARNED:
        text += "" if books is None else _right_books(run, bed, *books)
        limp = seen is Leaves.LIMP
        memory.limp_utc_s = state.at_utc_s if limp else None
        if limp:
            memory.judged_from_utc_s = None
        run.nudge = True
    by_clock = "" if when else " by the clock"
    note = f"leaves {seen.name.lower()}, {told}{by_clock}: {says.value}"
    return Reply(status="accepted", reason=says.value, text=text, note=note)


def _local(run: Run) -> datetime:
    """Now, as the garden's own clock shows it."""
    return datetime.fromtimestamp(run.state.at_utc_s, run.garden.garden.zone)


def _past_morning(run: Run) -> str:
    """What a look tells that nobody said the hour of, once the morning is over."""
    return (
        f"It is {_local(run):%H:%M}: past the morning leaves may hang from the heat and be well, "
        f"so that moves nothing. Look again before {eye.MORNING_ENDS_H}:00. If you saw them this "
        "morning, tell it as that."
    )


def _outranked_frac(run: Run, bed: str, depletion_frac: float) -> float:
    """What limp leaves are held against [of TAW]: a hand of the last day outranks the probes."""
    water, memory = run.state.water[bed], run.state.beds[bed]
    felt = by_hand.stands(memory.felt, water, run.state.at_utc_s)
    if felt is None or felt is Feel.JUST_MOIST:
        return depletion_frac
    told_frac = by_hand.told_frac(felt, run.days[bed].line_frac)
    pick = max if felt is Feel.DRY else min
    return pick(depletion_frac, told_frac)


def _changing_frac(run: Run, bed: str) -> float:
    """How unsure a bed's depletion is at a look, one standard deviation [of TAW].

    With probes only what changes from look to look: what they are wrong by together is learned with
    the line.
    """
    water, soil, day = run.state.water[bed], run.soils[bed], run.days[bed]
    if is_heard(run, bed):
        return math.sqrt(parts(water, soil, day).own)
    return spread_frac(water, soil, day)


def _books_after(run: Run, bed: str, seen: Leaves) -> tuple[float, float] | None:
    """What a look makes of a bed that only its books tell of, by the looks before it.

    Returns:
        Mean [of TAW] and variance [-] of its depletion; None where the look is no news.
    """
    water, day, at_utc_s = run.state.water[bed], run.days[bed], run.state.at_utc_s
    seen_before = run.state.beds[bed].eye
    if not run.grows(bed) or not eye.is_news(seen_before, at_utc_s):
        return None
    return eye.tells(
        seen_before,
        seen,
        depletion_frac=(water.depletion_mm - water.over_mm) / day.taw_mm,
        spread_frac=spread_frac(water, run.soils[bed], day),
        line_frac=day.line_frac,
        at_utc_s=at_utc_s,
    )


def _right_books(run: Run, bed: str, mean_frac: float, var: float) -> str:
    """Pull a bed's books to what a look makes of them; returns the sentence that says so."""
    water, taw_mm = run.state.water[bed], run.days[bed].taw_mm
    was = percent(water.depletion_mm / taw_mm)
    lacks_frac = (water.depletion_mm - water.over_mm) / taw_mm
    to_frac = eye.eased(run.state.beds[bed].eye, lacks_frac, mean_frac, water.wetted_utc_s)
    believe_bed(run, bed, to_frac, var)
    now = percent(water.depletion_mm / taw_mm)
    if now == was:
        return ""
    return f" No probe tells of {bed_name(bed)}: by this look {now} is used, before it {was}."


def _look_text(bed: str, memory: BedMemory, seen: Leaves, says: Says, depletion_frac: float) -> str:
    name = bed_name(bed)
    match says:
        case Says.MIDDAY_SAYS_NOTHING:
            return MIDDAY
        case Says.ROOTS:
            return (
                f"{name} is limp, and only {percent(depletion_frac)} of its water is used: that is "
                "no thirst. Look at its roots and for disease. It is not watered for this."
            )
        case Says.UNKNOWN:
            return f"{name} is not known well enough for a look to tell anything."
        case Says.LEARNED:
            limp = seen is Leaves.LIMP
            now = f" {name} is limp and not wet: it is asked for water now." if limp else ""
            return looks_text(memory.eye) + now


def looks_text(seen: eye.Eye) -> str:
    """What the looks at a bed came to, in a sentence; empty where there was none."""
    if not seen.looks:
        return ""
    percent = round(100.0 * eye.shift_frac(seen))
    many = "look" if seen.looks == 1 else f"{seen.looks} looks"
    if percent == 0:
        return f"Your {many} left this bed's thirst line where it was."
    more = "more" if percent > 0 else "less"
    return f"By your {many} this bed uses {abs(percent)} % {more} of its water before it drinks."


def forget_looks(run: Run, bed: str) -> Reply:
    """Undo what looks taught of a bed."""
    memory = run.state.beds[bed]
    eye.forget(memory.eye)
    memory.limp_utc_s = None
    run.nudge = True
    text = f"{bed_name(bed)} goes by its stage's own line again."
    return Reply(status="accepted", reason="looks_forgotten", text=text, note="forget the looks")


def hand_json(run: Run, bed: str, instant: Callable[[float], str]) -> dict[str, Any]:
    """What hands told of a bed, as it crosses every border.

    Args:
        run: the engine's working set.
        bed: which.
        instant: writes an instant [s, Unix].
    """
    memory, day = run.state.beds[bed], run.days[bed]
    felt = memory.felt
    line_frac = eye.line_frac(memory.eye, day.line_frac, day.floor_frac)
    return {
        "follows": run.garden.beds[bed].like,
        "looks": {
            "looks": memory.eye.looks,
            "shift_frac": round(eye.shift_frac(memory.eye), 4),
            "text": looks_text(memory.eye),
            "worth": run.grows(bed)
            and eye.is_news(memory.eye, run.state.at_utc_s)
            and eye.is_worth(run.state.water[bed].depletion_mm / day.taw_mm, line_frac),
        },
        "felt": None
        if felt is None
        else {
            "feel": felt.feel,
            "depth_cm": felt.depth_cm,
            "at": instant(felt.at_utc_s),
        },
    }
