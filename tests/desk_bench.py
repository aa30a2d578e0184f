"""The web over a real engine, in one process: a desk whose orders go to a test bench.

The engine, its guard and its ledger are those of the daemon; nodes, record and time are the
bench's. Time stands unless somebody lets it pass, so a flood of orders comes to the same each time.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.desk_book import fake_book
from controller.effects import Answer, Note
from controller.events import Order, OrderKind
from controller.garden import Garden
from controller.telling.pair_orders import holding
from controller.told_state import Paired
from controller.view import limits_json, picture, rfc3339
from tests.engine_bench import Bench


class EngineDesk:
    """A `Desk` over one bench.

    Args:
        garden: the garden file.
    """

    def __init__(self, garden: Garden) -> None:
        self.bench = Bench(garden)
        self.stops = 0
        self._orders = 0

    @property
    def setting(self) -> Garden:
        """The garden file."""
        return self.bench.engine.run.garden

    def view(self) -> dict[str, Any]:
        """The garden now."""
        run = self.bench.engine.run
        return {"broker": "none", "speed": 1.0, **picture(run), "limits": limits_json(run)}

    def version(self) -> str:
        """Changes with each event."""
        return str(len(self.bench.events))

    async def order(self, order_fields: dict[str, Any]) -> Answer:
        """Put an order to the engine."""
        answer = self._placed(order_fields)
        if answer is None:
            raise TimeoutError
        return answer

    def _placed(self, fields: dict[str, Any]) -> Answer | None:
        self._orders += 1
        given = str(fields.get("order", ""))  # one that carries a key keeps its id
        name = given if given.startswith("key-") else f"web-{self._orders}"
        told = {**fields, "order": name, "what": OrderKind(fields["what"])}
        self.bench.step(Order(**self.bench.times(), **told))
        answers = [one for one in self.bench.of(Answer) if one.order == name]
        return answers[-1] if answers else None

    async def stop_now(self, bed: str | None, who: str) -> Answer:
        """Close one bed's valve or all."""
        self.stops += 1
        what = OrderKind.STOP_ALL if bed is None else OrderKind.STOP
        answer = self._placed({"what": what, "bed": bed, "who": who})
        assert answer is not None
        return answer

    def log(self, after: int, limit: int) -> list[dict[str, Any]]:
        """The notes so far."""
        rows = [
            {"id": n, "at": rfc3339(self.bench.at_utc_s), "what": e.what, "text": e.text}
            for n, e in enumerate(self.bench.of(Note), 1)
        ]
        return [row for row in rows if row["id"] > after][:limit]

    def history(self, bed: str, from_utc_s: float, to_utc_s: float) -> list[dict[str, Any]]:
        """One row an hour, at most a day of them."""
        at_s = [from_utc_s + 3600.0 * n for n in range(24)]
        row = {"depletion_frac": 0.1, "line_frac": 0.4, "rain_mm": 0.0, "given_l": 0.0}
        return [{"at_utc_s": at, **row} for at in at_s if at <= to_utc_s and bed]

    def season(
        self, from_utc_s: float | None = None, to_utc_s: float | None = None
    ) -> dict[str, Any]:
        """An invented book."""
        del from_utc_s, to_utc_s
        return fake_book(tuple(self.view()["beds"]))

    def healthy(self) -> bool:
        """Always."""
        return True

    def pairs(self) -> Mapping[str, Paired]:
        """The paired browsers."""
        return holding(self.bench.engine.run)
