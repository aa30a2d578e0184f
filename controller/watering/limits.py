"""The guard: what may never happen, whoever asks.

One pure function, `permit`, stands before every opening: policy, person, blind mode and simulator
all pass it. It is written positively: only a finite number that is surely within its bounds opens;
anything else is refused with a reason, the litres that would be allowed and when.

The budget is a sliding log of openings. An entry leaves it 24 hours of *trusted* elapsed time after
its end, so no clock jump ever refills it; one that still runs, or whose end is unknown, counts in
full.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from controller.events import LedgerEntry

DAY_S = 86_400.0
STARTS_MOST = 12  # a valve and day
OFF_LEAST_S = 600.0  # between two openings of a valve
ON_LEAST_S = 60.0
SHUT_LEAST_S = 20.0  # a bed behind the closed master, once a week
EDGE_GAP_S = 5.0  # between two planned valve edges
RESERVE_FACTOR = 1.3
RESERVE_EXTRA_S = 135.0  # a lease, and the life of a nonce, of flow
SUPPLY_SHARE = 0.9
DOSE_HIGHEST_L = 100_000.0
OPEN_MOST_S = 5400.0


class Refused(StrEnum):
    """Why the guard refuses."""

    NOT_ARMED = "not_armed"
    PROVING = "proving"
    LOCKED = "locked"
    OTHER_CONTROLLER = "other_controller"
    CANNOT_RECORD = "cannot_record"
    LINK_LOST = "link_lost"
    QUIET_START = "quiet_start"
    VALVE_LATCHED = "valve_latched"
    FROST = "frost"
    BUDGET_SPENT = "budget_spent"
    NOT_FINITE = "not_finite"
    TOO_SHORT = "too_short"
    TOO_LONG = "too_long"
    DOSE_CAP = "dose_cap"
    BED_CAP = "bed_cap"
    SITE_CAP = "site_cap"
    BUSY = "busy"
    SUPPLY = "supply"
    STARTS = "starts"
    RESTING = "resting"


@dataclass(frozen=True, slots=True, kw_only=True)
class Caps:
    """Upper bounds in litres of any sliding 24 h, and of one opening."""

    bed_l_day: float
    dose_l: float
    site_l_day: float
    open_most_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """What is asked for."""

    bed: str
    want_l: float
    open_s: float
    flow_l_min: float
    watering_charged_l: float = 0.0  # what this watering was charged already
    proof: str = ""  # walk | shut | gate: what it is to prove


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """All that the guard weighs besides the budget."""

    interlock: Refused | None
    trusted_s: float
    budget_spent_until_trusted_s: float | None
    busy: int  # bed valves open or possibly open
    beds_at_once: int
    busy_flow_l_min: float
    supply_flow_l_min: float
    closed_since_s: float | None  # how long this valve has rested; None: never opened


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Permitted with a reservation, or refused with what would be allowed."""

    refused: Refused | None
    reserved_l: float
    allowed_l: float
    next_possible_s: float | None  # from now; None where only a person or an event can lift it

    @property
    def permitted(self) -> bool:
        """Whether it may open."""
        return self.refused is None and self.reserved_l > 0.0


def reserve_l(want_l: float, flow_l_min: float) -> float:
    """The most that an opening of `want_l` could deliver [L]."""
    return max(RESERVE_FACTOR * want_l, want_l + flow_l_min * RESERVE_EXTRA_S / 60.0)


def want_within_l(reserved_l: float, flow_l_min: float) -> float:
    """The largest wish whose reservation stays within `reserved_l` [L]: the inverse."""
    extra_l = flow_l_min * RESERVE_EXTRA_S / 60.0
    return max(0.0, min(reserved_l / RESERVE_FACTOR, reserved_l - extra_l))


def counts(entry: LedgerEntry, trusted_s: float) -> bool:
    """Whether an opening still counts: it runs, or ended under 24 h of trusted time ago."""
    ended_s = entry.ended_trusted_s
    return ended_s is None or not trusted_s - ended_s >= DAY_S


def used_l(ledger: Iterable[LedgerEntry], trusted_s: float, bed: str | None = None) -> float:
    """Litres charged within the window, of one bed or of all [L]."""
    return math.fsum(
        entry.charged_l
        for entry in ledger
        if (bed is None or entry.bed == bed) and counts(entry, trusted_s)
    )


def starts_left(ledger: Iterable[LedgerEntry], trusted_s: float, bed: str) -> int:
    """How often a bed's valve may still open within the window, proofs aside."""
    return max(0, STARTS_MOST - _starts(ledger, trusted_s, bed))


def _starts(ledger: Iterable[LedgerEntry], trusted_s: float, bed: str) -> int:
    return sum(1 for e in ledger if e.bed == bed and counts(e, trusted_s))


def _may_start(opening: Opening, ledger: Iterable[LedgerEntry], trusted_s: float) -> bool:
    """Whether a bed's valve may be let open once more within the window; proofs always may."""
    starts = _starts(ledger, trusted_s, opening.bed)
    return starts < STARTS_MOST or bool(opening.proof)


def allowed_now_l(
    opening: Opening, caps: Caps, ledger: list[LedgerEntry], trusted_s: float
) -> float:
    """The largest wish that the budget still takes, reservation and all [L].

    Nothing where the starts are spent: what can be begun no more is not there to be given.
    """
    if not _may_start(opening, ledger, trusted_s):
        return 0.0
    room_l = min(
        caps.bed_l_day - used_l(ledger, trusted_s, opening.bed),
        caps.site_l_day - used_l(ledger, trusted_s),
        caps.dose_l - opening.watering_charged_l,
    )
    return want_within_l(room_l, opening.flow_l_min) if room_l > 0.0 else 0.0


def _next_room_s(ledger: list[LedgerEntry], trusted_s: float, bed: str) -> float | None:
    """When the oldest entry of this bed (or else of the site) leaves the window [s from now]."""
    ends = [e.ended_trusted_s for e in ledger if e.bed == bed and counts(e, trusted_s)]
    ends = ends or [e.ended_trusted_s for e in ledger if counts(e, trusted_s)]
    known = [end for end in ends if end is not None]
    return max(0.0, min(known) + DAY_S - trusted_s) if known else None


def _refuse(why: Refused, allowed_l: float = 0.0, next_s: float | None = None) -> Verdict:
    return Verdict(refused=why, reserved_l=0.0, allowed_l=allowed_l, next_possible_s=next_s)


def permit(
    opening: Opening, caps: Caps, ledger: list[LedgerEntry], situation: Situation
) -> Verdict:
    """Say whether a bed valve may open, and reserve the most that it could deliver.

    Args:
        opening: what is asked for, in litres and seconds.
        caps: the limits in force.
        ledger: all openings that may still count.
        situation: interlocks, other valves, the time by the trusted clock.

    Returns:
        The verdict; permitted only where every bound is positively kept.
    """
    if situation.interlock is not None:
        return _refuse(situation.interlock)
    numbers = (
        opening.want_l,
        opening.open_s,
        opening.flow_l_min,
        opening.watering_charged_l,
        caps.bed_l_day,
        caps.dose_l,
        caps.site_l_day,
        caps.open_most_s,
        situation.trusted_s,
        situation.busy_flow_l_min,
        situation.supply_flow_l_min,
    )
    if not all(math.isfinite(number) for number in numbers):
        return _refuse(Refused.NOT_FINITE)
    spent_s = situation.budget_spent_until_trusted_s
    if spent_s is not None and not situation.trusted_s >= spent_s:
        return _refuse(Refused.BUDGET_SPENT, 0.0, spent_s - situation.trusted_s)
    return _shape(opening, caps) or _budget(opening, caps, ledger, situation)


def _shape(opening: Opening, caps: Caps) -> Verdict | None:
    if not (0.0 < opening.want_l <= DOSE_HIGHEST_L and opening.flow_l_min > 0.0):
        return _refuse(Refused.NOT_FINITE)
    if not opening.open_s >= (SHUT_LEAST_S if opening.proof == "shut" else ON_LEAST_S):
        return _refuse(Refused.TOO_SHORT)
    if not opening.open_s <= min(caps.open_most_s, OPEN_MOST_S):
        return _refuse(Refused.TOO_LONG)
    return None


def _budget(
    opening: Opening, caps: Caps, ledger: list[LedgerEntry], situation: Situation
) -> Verdict:
    trusted_s = situation.trusted_s
    allowed_l = allowed_now_l(opening, caps, ledger, trusted_s)
    wanted_l = reserve_l(opening.want_l, opening.flow_l_min)
    next_s = _next_room_s(ledger, trusted_s, opening.bed)
    if not opening.watering_charged_l + wanted_l <= caps.dose_l:
        return _refuse(Refused.DOSE_CAP, allowed_l, 0.0 if allowed_l > 0.0 else next_s)
    if not used_l(ledger, trusted_s, opening.bed) + wanted_l <= caps.bed_l_day:
        return _refuse(Refused.BED_CAP, allowed_l, next_s)
    if not used_l(ledger, trusted_s) + wanted_l <= caps.site_l_day:
        return _refuse(Refused.SITE_CAP, allowed_l, next_s)
    if not _may_start(opening, ledger, trusted_s):
        return _refuse(Refused.STARTS, allowed_l, next_s)
    return _traffic(opening, situation, wanted_l, allowed_l)


def _traffic(opening: Opening, situation: Situation, wanted_l: float, allowed_l: float) -> Verdict:
    if not situation.busy < situation.beds_at_once:
        return _refuse(Refused.BUSY, allowed_l)
    flow_l_min = situation.busy_flow_l_min + opening.flow_l_min
    if situation.busy > 0 and not flow_l_min <= SUPPLY_SHARE * situation.supply_flow_l_min:
        return _refuse(Refused.SUPPLY, allowed_l)
    rest_s = situation.closed_since_s
    if rest_s is not None and not rest_s >= OFF_LEAST_S:
        return _refuse(Refused.RESTING, allowed_l, OFF_LEAST_S - rest_s)
    return Verdict(refused=None, reserved_l=wanted_l, allowed_l=allowed_l, next_possible_s=0.0)
