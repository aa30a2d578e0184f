"""Every state of the page's table as a grower reads it: two sizes, light and dark."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest

from api.desk import FakeDesk
from api.page.states import REASONS, STATES, VALVES
from controller.view import HELD as HELD_REASONS
from controller.watering.decision import Reason
from tests.browser import page_states
from tests.browser.page_bench import Served, needs_chromium, opened
from tests.browser.page_states import ALL, BED, Shown

pytestmark = [needs_chromium, pytest.mark.slow]
SIZES = {"phone": (360, 740), "wide": (1280, 800)}
SCHEMES = ("light", "dark")


@dataclass(slots=True)
class Looking:
    """A browser window of one size, and the garden that it looks at."""

    desk: FakeDesk
    url: str
    page: Any


@pytest.fixture(scope="module", params=[(s, c) for s in SIZES for c in SCHEMES], ids="-".join)
def looking(request: pytest.FixtureRequest, browser: Any) -> Iterator[Looking]:
    size, scheme = request.param
    wide, high = SIZES[size]
    desk = FakeDesk()
    served = Served().begin(desk)
    page = opened(browser, wide, scheme, high)
    yield Looking(desk, served.url, page)
    page.context.close()
    served.end()


@pytest.mark.parametrize("shown", ALL, ids=[shown.name for shown in ALL])
def test_a_state_is_said(looking: Looking, shown: Shown) -> None:
    looking.desk.take_over(shown.desk())
    page = looking.page
    page.goto(looking.url, wait_until="commit")
    card = page.locator(".bed", has=page.get_by_role("heading", name="South", exact=True))
    card.wait_for()
    assert card.locator(".state").inner_text() == shown.label
    words = {name: card.locator(f"dt:text-is('{name}') + dd").inner_text() for name in ("Valve",)}
    assert words["Valve"] == shown.valve
    said = page.evaluate("document.querySelector('main').textContent").replace("\u00a0", " ")
    for more in shown.more:
        assert more in said
    for never in shown.never:
        assert never not in said
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    over = page.evaluate(
        "[...document.querySelectorAll('.who, .left, .acts .button, dd, h1')]"
        ".filter(it => it.scrollWidth > it.clientWidth + 1).map(it => it.textContent)"
    )
    assert over == []
    assert page.complaints == []


def test_the_table_is_shown_whole() -> None:
    """A new state, valve or reason needs its row, here and on the page."""
    assert page_states.told() == (set(STATES), set(VALVES), set(REASONS))
    assert {str(code) for code in HELD_REASONS} == page_states.HELD
    assert set(REASONS) <= {str(code) for code in Reason}


def test_every_hold_of_the_engine_has_a_label_of_its_own() -> None:
    assert {str(code) for code in HELD_REASONS} <= set(REASONS)
    assert BED in FakeDesk().view()["beds"]
