"""The grower of a replay who tells the controller of planned picks, some days before each."""

from __future__ import annotations

from datetime import date

from controller.events import Order, OrderKind
from controller.garden import Garden
from sim.garden_world import midnight_utc_s
from sim.season_run import Picks

AHEAD_S = 8.0 * 86_400.0  # a picker is rung up a week before; our own guess


class ToldPicks:
    """Orders that mark picks, each due at its own instant.

    Args:
        garden: its dates in the season's year.
        picks: planned picks by bed.
    """

    def __init__(self, garden: Garden, picks: Picks) -> None:
        told = [
            (midnight_utc_s(garden, day) - AHEAD_S, day, bed)
            for bed, days in picks.items()
            for day in days
        ]
        self._ahead = sorted(told, reverse=True)

    def due(self, at_utc_s: float, mono_s: float) -> list[Order]:
        """The orders whose time has come, each handed out once.

        Args:
            at_utc_s: now, by the controller's clock [s, Unix].
            mono_s: its monotonic clock [s].
        """
        orders = []
        while self._ahead and self._ahead[-1][0] <= at_utc_s:
            _, day, bed = self._ahead.pop()
            orders.append(_order(bed, day, at_utc_s, mono_s))
        return orders


def _order(bed: str, day: date, at_utc_s: float, mono_s: float) -> Order:
    return Order(
        at_utc_s=at_utc_s,
        mono_s=mono_s,
        order=f"pick-{bed}-{day.isoformat()}",
        what=OrderKind.PICK,
        who="replay",
        bed=bed,
        on=day.isoformat(),
    )
