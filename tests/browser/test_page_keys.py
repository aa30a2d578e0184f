"""Tab and Enter alone: watering, stopping, telling leaves and a pick, in a browser."""

from typing import Any

import pytest

from api.desk import FakeDesk
from controller.events import OrderKind
from tests.browser.page_bench import needs_chromium, opened

pytestmark = needs_chromium
TABS_MOST = 60
HERE = """() => {
  const it = document.activeElement;
  const label = it.closest("label") ? it.closest("label").innerText : "";
  return (label || it.innerText || it.value || "").trim();
}"""


@pytest.fixture
def page(browser: Any, url: str) -> Any:
    page = opened(browser, 390)
    page.goto(url)
    yield page
    assert page.complaints == []
    page.context.close()


def _tab_to(page: Any, words: str) -> None:
    """Press Tab until the focus is on what begins with these words, and is seen there."""
    for _ in range(TABS_MOST):
        page.keyboard.press("Tab")
        if page.evaluate(HERE).startswith(words):
            ring = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert ring == "solid", f"no ring around {words}"
            return
    pytest.fail(f"no way by Tab to {words}")


def _press(page: Any, words: str) -> None:
    _tab_to(page, words)
    page.keyboard.press("Enter")
    page.wait_for_load_state()


def test_water_by_keys(page: Any, desk: FakeDesk) -> None:
    _press(page, "Water…")
    page.get_by_role("heading", name="Water South").wait_for()
    _tab_to(page, "Litres")
    page.keyboard.type("40")
    page.keyboard.press("Enter")
    page.get_by_text("gives about 40").wait_for()
    _press(page, "Water now")
    page.get_by_role("heading", name="Done").wait_for()
    assert [(o["what"], o["litres"]) for o in desk.orders] == [(OrderKind.WATER, 40.0)]
    _press(page, "Back to the garden")
    page.locator(".strip").first.wait_for()


def test_stop_by_keys(page: Any, desk: FakeDesk) -> None:
    desk.set_bed("south", state="watering", valve="open")
    page.reload()
    _press(page, "Stop")
    page.get_by_text("South was stopped at 11:05").wait_for()
    assert [bed for bed, _ in desk.stops] == ["south"]


def test_close_every_valve_by_keys(page: Any, desk: FakeDesk) -> None:
    _press(page, "■ Close every valve")
    page.get_by_text("Every valve was told to close").wait_for()
    assert [bed for bed, _ in desk.stops] == [None]


def test_leaves_by_keys(page: Any, desk: FakeDesk) -> None:
    _press(page, "Tell…")
    page.get_by_role("heading", name="Tell of South").wait_for()
    _tab_to(page, "upright")
    page.keyboard.press("ArrowDown")
    assert page.evaluate(HERE) == "slightly rolled"
    _press(page, "Tell the leaves")
    page.get_by_role("heading", name="Done").wait_for()
    assert [(o["what"], o["leaves"]) for o in desk.orders] == [(OrderKind.LOOK, 1)]


def test_a_pick_by_keys(page: Any, desk: FakeDesk) -> None:
    _press(page, "Tell…")
    page.get_by_role("heading", name="The leaves").wait_for()
    _press(page, "Tell a pick")
    page.get_by_role("heading", name="Picking South").wait_for()
    _tab_to(page, "Kilograms")
    page.keyboard.type("4.2")
    _tab_to(page, "Fruit that cracked")
    page.keyboard.type("3")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Done").wait_for()
    (told,) = desk.orders
    assert (told["what"], told["kg"], told["cracked"]) == (OrderKind.PICK, 4.2, 3)


def test_why_unfolds_by_keys(page: Any) -> None:
    _press(page, "Why")
    page.get_by_text("used of its water now").first.wait_for()
    page.keyboard.press("Enter")
    assert page.locator("details[open]").count() == 0


def test_the_thing_to_hand_comes_before_what_is_rare(page: Any) -> None:
    """From the top: a bed's water, pause, tell, why; only then the next bed."""
    seen = []
    for _ in range(4):
        page.keyboard.press("Tab")
        seen.append(page.evaluate(HERE).split("\n")[0])
    assert seen == ["Water…", "Pause…", "Tell…", "Why"]
