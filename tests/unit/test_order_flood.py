"""Hazard H1 over HTTP: 500 orders by eight clients, restarts between, caps kept to the litre."""

import asyncio
import random
from typing import Any

import httpx2
import pytest

from api.http import create_app
from controller.watering.limits import used_l
from tests.desk_bench import EngineDesk
from tests.engine_garden import small_garden

RIGHT = "the-operators-token"
CLIENTS, ORDERS, ROUNDS = 8, 500, 10
BED_L_DAY, SITE_L_DAY = 60.0, 100.0
BEDS = ("south", "north")


class QuickDesk(EngineDesk):
    """Shows only which beds there are: the picture of a garden takes longer than an order."""

    def view(self) -> dict[str, Any]:
        """The beds."""
        return {"beds": {bed: {} for bed in BEDS}}


async def _flood(desk: EngineDesk, lots: random.Random, orders: int) -> list[int]:
    """So many orders, shared out to eight clients that send at the same time."""
    app = create_app(desk, token=RIGHT, monotonic=lambda: 0.0)
    waiting = [lots.uniform(2.0, 25.0) for _ in range(orders)]
    codes: list[int] = []

    async def client(number: int) -> None:
        transport = httpx2.ASGITransport(app=app, client=(f"192.168.1.{number}", 5))
        headers = {"Authorization": f"Bearer {RIGHT}"}
        async with httpx2.AsyncClient(
            transport=transport, base_url="http://localhost", headers=headers
        ) as web:
            while waiting:
                litres = waiting.pop()
                bed = BEDS[len(waiting) % 2]
                got = await web.post(f"/api/beds/{bed}/water", json={"litres": litres})
                codes.append(got.status_code)
                if len(waiting) % 5 == number % 5:
                    desk.bench.tick(2.0)  # time goes on between them

    await asyncio.gather(*(client(number) for number in range(CLIENTS)))
    return codes


@pytest.mark.hazard("H1")
@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.slow)])
def test_five_hundred_orders_never_pass_a_cap(seed: int) -> None:
    lots = random.Random(seed)
    garden = small_garden(
        beds=BEDS, meter=True, master=True, bed_l_day=BED_L_DAY, dose_l=40.0, site_l_day=SITE_L_DAY
    )
    desk, codes, most_l = QuickDesk(garden), [], 0.0
    bench = desk.bench
    for _ in range(ROUNDS):
        codes += asyncio.run(_flood(desk, lots, ORDERS // ROUNDS))
        bench.live(600.0)
        for bed in BEDS:
            given_l, charged_l = bench.litres_of_last_day(bed), _charged(desk, bed)
            assert given_l <= charged_l + 1e-6, "the ledger is an upper bound"
            assert charged_l <= BED_L_DAY + 1e-6
            most_l = max(most_l, charged_l)
        assert _charged(desk, None) <= SITE_L_DAY + 1e-6
        bench.restart(lots.uniform(5.0, 60.0), trusted=lots.random() < 0.5)
        bench.connect()
        bench.live(200.0)
    assert len(codes) == ORDERS
    assert set(codes) <= {202, 409, 422}
    assert codes.count(202) >= 2, "the garden is watered too"
    assert most_l > 0.7 * BED_L_DAY, "they came near the cap, so it was the cap that held"


def _charged(desk: EngineDesk, bed: str | None) -> float:
    run = desk.bench.engine.run
    return used_l(run.state.ledger, run.trusted_s, bed)
