"""A season lived through under one rival: the world, the rival's valves and the books."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from sim.garden_world import GardenWorld
from sim.rivals import NightValves, Rival
from sim.season_account import SeasonAccount
from sim.season_run import Dawns, PolicyRun, Replay

GRID_S = 600.0


def live_through(
    replay: Replay,
    world: GardenWorld,
    rival: Rival,
    at_dawn: Callable[[SeasonAccount, date], None] | None = None,
) -> SeasonAccount:
    """Let a world live through the replay's days, watered by a rival.

    Args:
        replay: what is replayed.
        world: a fresh world of it.
        rival: who says how long each bed opens.
        at_dawn: called at each dawn with the books and the day, once the dawn stands in them.

    Returns:
        The books.
    """
    account = SeasonAccount(replay.garden, world)
    valves = NightValves(replay.garden, world, rival)
    dawns = Dawns(replay.garden, replay.span)
    now_s = replay.span.from_utc_s
    while now_s < replay.span.to_utc_s:
        now_s = min(replay.span.to_utc_s, (now_s // GRID_S + 1.0) * GRID_S)
        for bed in valves.live(now_s):
            account.watering(bed, now_s)
        world.advance(now_s)
        today = dawns.due(now_s)
        account.look(now_s, today)
        if today is not None and at_dawn is not None:
            at_dawn(account, today)
    return account


def run_of(name: str, seconds: float, account: SeasonAccount, replay: Replay) -> PolicyRun:
    """What a policy came to by its books.

    Args:
        name: of the policy.
        seconds: on the wall [s].
        account: the season's books.
        replay: what was replayed.
    """
    return PolicyRun(
        name=name,
        seconds=seconds,
        numbers=account.result(replay.picks),
        depletion_at_dawn=account.depletion_at_dawn,
        hours=account.hours,
        dawns=account.dawns,
    )
