"""No page breaks a rule of axe-core, light and dark: names, labels, order, contrast of text.

Left out by axe itself: colours within the drawings; `tests/unit/test_page_colours.py` has those.
"""

from typing import Any

import pytest

from api.desk import FakeDesk
from tests.browser.page_bench import Served, needs_chromium, opened
from tests.browser.page_states import ALL

axe = pytest.importorskip(
    "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
)
pytestmark = [needs_chromium, pytest.mark.slow]
ALERT: dict[str, Any] = {
    "id": "a1",
    "code": "valve_stuck_open",
    "bed": "south",
    "valve": "south",
    "probe": None,
    "since": "2026-07-15T17:12:00Z",
    "text": "Water flowed after the close.",
    "person_needed": True,
}
BED_PAGES = (
    "water",
    "water?how=refill",
    "water?how=litres&litres=40",
    "pause",
    "pause?days=3",
    "hand",
    "learned",
    "stage",
    "pick",
)
PAGES = (
    "/",
    "/?span=30",
    "/?span=season",
    *(f"/beds/south/{what}" for what in BED_PAGES),
    "/pause",
    "/pause?days=1",
    "/tank",
    "/hose",
    "/sky",
    "/lock",
    "/alarm",
    "/walk",
    "/season",
    "/alerts/a1/clear",
    "/docs",
    "/open?code=wrong",
    "/nothing-here",
    "/beds/south/water?how=litres&litres=much",
)
WALK = {
    "armed": False,
    "needed": True,
    "said": "",
    "beds": {
        bed: {"armed": False, "text": f"{bed.capitalize()} is not walked yet."}
        for bed in ("south", "tunnel")
    },
    "backflow": None,
    "proof": {"provable": True, "due_from": "2026-07-16T05:00:00Z", "last": None},
}
ASKS = {"kind": "walk", "bed": "south", "asks": "south", "text": "South opens.", "left": 20}


def _breaches(page: Any) -> list[str]:
    """What axe finds, with the part of the page it means."""
    found = axe.Axe().run(page).response["violations"]
    return [f"{one['id']}: {node['html'][:120]}" for one in found for node in one["nodes"]]


def _all_open(page: Any) -> None:
    page.evaluate("document.querySelectorAll('details').forEach(it => it.open = true)")


def _without_its_jump(route: Any) -> None:
    """The welcome goes on to the garden at once; here it stays."""
    got = route.fetch()
    text = got.text()
    jump = '<meta http-equiv="refresh" content="0;url=/">'
    assert jump in text
    route.fulfill(response=got, body=text.replace(jump, ""))


@pytest.fixture
def desk() -> FakeDesk:
    """Whatever can stand on a page stands there."""
    desk = FakeDesk()
    desk.set(
        alerts=[ALERT, {**ALERT, "id": "a2", "code": "frost", "person_needed": False}],
        holds={
            **desk.view()["holds"],
            "beds_paused": {"wall-side": {"until": "2026-07-18T01:00:00Z", "why": "away"}},
            "hose": {
                "since": "2026-07-15T17:00:00Z",
                "until": "2026-07-15T19:00:00Z",
                "who": "Ann",
            },
        },
        supply={
            "week_l": 3000.0,
            "week_left_l": 1420.0,
            "tank_l": 1000.0,
            "tank_left_l": 300.0,
            "days": ["mon", "wed", "fri"],
        },
        walk=WALK,
    )
    desk.set_bed(
        "south",
        poured={"litres": 40.0, "at": "2026-07-15T14:30:00Z"},
        picks=["2026-07-20"],
        varieties=["Early", "Late"],
        marks={"first_flower": "2026-06-01"},
        would_change=[{"code": "x", "text": "Rain of 6 mm tonight.", "numbers": {}}],
    )
    desk.set_bed("tunnel", state="watering", valve="open")
    return desk


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing(browser: Any, url: str, path: str, scheme: str) -> None:
    page = opened(browser, 390, scheme)
    page.goto(url + path)
    _all_open(page)
    assert _breaches(page) == []
    page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_in_a_walk_that_asks(
    browser: Any, url: str, desk: FakeDesk, scheme: str
) -> None:
    desk.set(walk={**WALK, "now": ASKS})
    page = opened(browser, 390, scheme)
    page.goto(f"{url}/walk")
    assert "get wet?" in page.locator("main").inner_text()
    assert _breaches(page) == []
    page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_once_a_browser_is_let_in(
    browser: Any, served: Served, scheme: str
) -> None:
    page = opened(browser, 390, scheme)
    code = served.app.state.issue_code()
    page.route("**/open?*", _without_its_jump)
    page.goto(f"{served.url}/open?code={code}")
    page.get_by_role("heading", name="Welcome").wait_for()
    assert _breaches(page) == []
    page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_where_phones_are_let_in(
    browser: Any, served: Served, scheme: str
) -> None:
    served.app.state.link_base = "http://garden.local:8470"
    page = opened(browser, 390, scheme)
    page.goto(f"{served.url}/open?code={served.app.state.issue_code()}")
    page.wait_for_url(f"{served.url}/")  # it goes there by itself
    page.goto(f"{served.url}/phones")
    assert _breaches(page) == []
    page.get_by_role("button", name="Show a code").click()
    page.get_by_role("img", name="A code for the other phone's camera").wait_for()
    assert _breaches(page) == []
    page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_in_any_state(browser: Any, scheme: str) -> None:
    desk = FakeDesk()
    served = Served().begin(desk)
    page = opened(browser, 390, scheme)
    found = {}
    for shown in ALL:
        desk.take_over(shown.desk())
        page.goto(served.url)
        found[shown.name] = _breaches(page)
    page.context.close()
    served.end()
    assert {name: breaches for name, breaches in found.items() if breaches} == {}


def test_axe_would_find_something(browser: Any, url: str) -> None:
    """Else the tests above could not fail."""
    page = opened(browser, 390, bypass_csp=True)
    page.goto(url)
    page.evaluate("document.querySelector('h1').style.color = '#ddd'")
    page.evaluate("document.querySelector('.everything button').textContent = ''")
    names = {breach.partition(":")[0] for breach in _breaches(page)}
    assert {"color-contrast", "button-name"} <= names
    page.context.close()
