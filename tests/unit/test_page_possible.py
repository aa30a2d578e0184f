"""What the page promises of a watering by hand is what the guard then does."""

import re
from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from api.http import create_app
from controller.events import LedgerEntry
from controller.watering.limits import STARTS_MOST
from tests.desk_bench import EngineDesk
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

RIGHT = "the-operators-token"


def _client(desk: EngineDesk) -> TestClient:
    return TestClient(
        create_app(desk, token=RIGHT, monotonic=lambda: 0.0),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
        headers={"Origin": "http://localhost:8470"},
        follow_redirects=False,
    )


def _rested(bench: Bench) -> None:
    """The valve closed a moment ago."""
    bench.order("water", "south", litres=4.0)
    bench.live(60.0)
    bench.order("stop", "south")
    bench.live(60.0)


def _ledger(bench: Bench, entries: int, charged_l: float) -> None:
    ended_s = bench.trusted_s - 5000.0
    bench.engine.state.ledger.extend(
        LedgerEntry(dose=f"0-{n}", bed="south", charged_l=charged_l, ended_trusted_s=ended_s)
        for n in range(entries)
    )


def _often(bench: Bench) -> None:
    _ledger(bench, STARTS_MOST, 1.0)


def _lost(bench: Bench) -> None:
    bench.engine.state.budget_spent_until_trusted_s = bench.trusted_s + 5000.0


def _unarmed(bench: Bench) -> None:
    bench.engine.state.armed = False


def _spent(bench: Bench) -> None:
    _ledger(bench, 1, 119.0)


def _busy(bench: Bench) -> None:
    bench.order("water", "wall", litres=40.0)
    bench.live(30.0)


BARS = [
    pytest.param(_rested, "This valve closed less than ten minutes ago.", True, id="resting"),
    pytest.param(_often, "This valve has opened twelve times in 24 hours.", True, id="starts"),
    pytest.param(_lost, "the day's water counts as given.", True, id="budget-spent"),
    pytest.param(_spent, "its limit for 24 hours is reached.", True, id="bed-cap"),
    pytest.param(_unarmed, "The valves have not been walked", False, id="not-armed"),
    pytest.param(_busy, "As many beds as may drink at once are drinking.", False, id="busy"),
]


@pytest.mark.parametrize(("prepare", "said", "until"), BARS)
@pytest.mark.parametrize("asked", ["", "?how=litres&litres=10"], ids=["choosing", "asked"])
def test_what_the_guard_would_refuse_is_said_and_has_no_button(
    prepare: Callable[[Bench], None], said: str, until: bool, asked: str
) -> None:
    desk = EngineDesk(small_garden(beds=("south", "wall"), bed_l_day=120.0, dose_l=110.0))
    desk.bench.dry_out(0.1)
    prepare(desk.bench)
    html = _client(desk).get(f"/beds/south/water{asked}").text.replace("&#39;", "'")
    assert said in html
    assert ("Possible from " in html) is until
    assert "Water now" not in html
    assert 'action="/do/beds/south/water"' not in html
    assert '<form class="row" method="get">' not in html


def test_from_the_time_that_it_says_it_is_possible() -> None:
    desk = EngineDesk(small_garden(beds=("south", "wall")))
    desk.bench.dry_out(0.1)
    _rested(desk.bench)
    client = _client(desk)
    found = re.search(r"Possible from (\d\d):(\d\d)", client.get("/beds/south/water").text)
    assert found is not None
    from_minute = 60 * int(found[1]) + int(found[2])
    local_s = (desk.bench.at_utc_s - 7 * 3600.0) % 86_400.0
    wait_s = (60.0 * from_minute - local_s) % 86_400.0
    assert 480.0 < wait_s <= 600.0
    desk.bench.live(wait_s + 10.0)
    assert "Water now" in client.get("/beds/south/water?how=litres&litres=10").text
    answer = desk.bench.order("water", "south", litres=10.0)
    assert answer is not None
    assert answer.status == "accepted"
