"""Picks that are planned: told, taken back, and how near the next one is.

Each order gives its answer as a `Reply`; `orders.py` records and sends it. What a bed's nights are
before a pick follows from the hours: its dry days begin 72 h before the local start of the pick's
day, and they end at that day's noon, by when it is taken to be picked. Our own proposal.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time
from typing import Any

from controller.hand_orders import Reply
from controller.run import Run
from controller.watering.before_pick import PREPARED_NIGHTS
from controller.watering.hours import Window, local_to_utc_s
from controller.watering.words import bed_name

DAY_S = 86_400.0
DRY_S = 3.0 * DAY_S  # before the local start of the pick's day
AHEAD_MOST_D = 120  # a pick that lies further off is a slip of the pen
PICKS_MOST = 40  # of one bed, ahead
EDGE_S = 3600.0  # a clock that is put back makes a night an hour longer


@dataclass(frozen=True, slots=True, kw_only=True)
class PickAhead:
    """A bed's next pick, seen from a night.

    Attributes:
        near: this night reaches into the dry days.
        nights: nights to the last one before them, 0 for that one; None where `near`.
        days_d: from the end of this night to noon of the pick's day.
    """

    near: bool
    nights: int | None
    days_d: float


def plan(run: Run, bed: str, on: str) -> Reply:
    """Somebody is going to pick: the bed is kept dry before it.

    Args:
        run: the engine's working set.
        bed: whose.
        on: the day, `2026-08-01`, after today.
    """
    day_now = run.local_day(run.state.at_utc_s).toordinal()
    try:
        day = date.fromisoformat(on).toordinal()
    except ValueError:
        return Reply(status="invalid", reason="on", text="A day is written like 2026-08-01.")
    setting, memory = run.garden.beds[bed], run.state.beds[bed]
    if not day_now < day <= day_now + AHEAD_MOST_D:
        text = f"A planned pick is of a day to come, within {AHEAD_MOST_D} days."
        return Reply(status="invalid", reason="on", text=text)
    if day < setting.transplanted.toordinal() or (
        setting.cleared is not None and day > setting.cleared.toordinal()
    ):
        text = f"{bed_name(bed)} does not stand on that day."
        return Reply(status="invalid", reason="on", text=text)
    ahead = sorted({day, *(one for one in memory.picks if one >= day_now)})
    if len(ahead) > PICKS_MOST:
        text = f"{PICKS_MOST} picks ahead are the most of a bed."
        return Reply(status="invalid", reason="on", text=text)
    memory.picks = ahead
    _judge_again(run, bed)
    words = f"a pick is planned on {on}"
    text = (
        f"{bed_name(bed)}: {words}. It is kept dry for three days before, and drinks on the night "
        "before those where it would not last."
    )
    return Reply(status="accepted", reason="planned", text=text, note=words)


def drop(run: Run, bed: str, on: str) -> Reply:
    """Take a planned pick back.

    Args:
        run: the engine's working set.
        bed: whose.
        on: its day.
    """
    memory = run.state.beds[bed]
    kept = [one for one in memory.picks if _iso(one) != on]
    if len(kept) == len(memory.picks):
        text = f"{bed_name(bed)} has no planned pick on that day."
        return Reply(status="invalid", reason="on", text=text)
    memory.picks = kept
    _judge_again(run, bed)
    text = f"{bed_name(bed)}: the pick on {on} is taken back."
    return Reply(status="accepted", reason="dropped", text=text, note=f"no pick on {on}")


def _judge_again(run: Run, bed: str) -> None:
    run.state.beds[bed].judged_from_utc_s = None
    run.nudge = True


def _iso(day: int) -> str:
    return date.fromordinal(day).isoformat()


def picks_json(run: Run, bed: str) -> dict[str, Any]:
    """The picks that a bed has ahead, as they cross every border.

    Args:
        run: the engine's working set.
        bed: which.
    """
    today = run.state.day
    return {"picks": [_iso(day) for day in run.state.beds[bed].picks if day >= today]}


def pick_ahead(run: Run, bed: str, window: Window) -> PickAhead | None:
    """How near a bed's next pick is, None where none is near enough to matter.

    Args:
        run: the engine's working set.
        bed: which.
        window: the hours that hold now, else the next ones. Outside the hours it is now that
            counts, as only a passed floor waters then.
    """
    picks, now_s = run.state.beds[bed].picks, run.state.at_utc_s
    if not picks:
        return None
    zone, inside = run.garden.garden.zone, window.holds(now_s)
    from_s, to_s = (window.from_utc_s, window.to_utc_s) if inside else (now_s, now_s)
    for day in picks:
        midnight_s = local_to_utc_s(date.fromordinal(day), time(0), zone)
        noon_s, dry_s = midnight_s + DAY_S / 2.0, midnight_s - DRY_S
        if noon_s <= from_s:
            continue  # it is picked
        near = dry_s < to_s
        nights = int(max(0.0, dry_s - to_s + EDGE_S) // DAY_S)
        if not near and nights > PREPARED_NIGHTS:
            return None
        days_d = max(0.0, (noon_s - to_s) / DAY_S)
        return PickAhead(near=near, nights=None if near else nights, days_d=days_d)
    return None
