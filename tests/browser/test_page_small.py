"""Every page on the smallest phone, metric and US: it fits, thumbs hit, and no letter is cut."""

from typing import Any

import pytest

from api.desk import FakeDesk
from tests.browser.page_bench import Served, needs_chromium, opened
from tests.browser.test_page_axe import PAGES

pytestmark = [needs_chromium, pytest.mark.slow]
WIDE_PX = 320
SMALLEST_PX = 568
TARGET_PX = 44  # common practice for a thumb
LETTERS_PX = 9.5  # of a drawing, on the glass; our own floor
SMALL_TARGETS = """least => [...document.querySelectorAll('a, button, select, summary, input')]
  .map(it => it.matches('[type=radio]') ? it.closest('label') : it)
  .map(it => [it.innerText || it.name, it.getBoundingClientRect()])
  .filter(([name, box]) => box.width && box.height < least)
  .map(([name, box]) => `${name} ${box.height}`)"""
CUT = """() => [...document.querySelectorAll('.strip text, .faults text')].filter(it => {
  const box = it.getBBox(), all = it.ownerSVGElement.viewBox.baseVal;
  return box.x < all.x - 1 || box.x + box.width > all.x + all.width + 1 ||
    box.y < all.y - 2 || box.y + box.height > all.y + all.height + 2;
}).map(it => it.textContent)"""
STRUCK = """() => [...document.querySelectorAll('.strip')].flatMap(strip => {
  const found = [...strip.querySelectorAll('text')].map(it => [it.textContent, it.getBBox()]);
  return found.flatMap(([one, a], i) => found.slice(i + 1)
    .filter(([other, b]) => a.x < b.x + b.width - 1 && b.x < a.x + a.width - 1 &&
      a.y < b.y + b.height - 3 && b.y < a.y + a.height - 3)
    .map(([other]) => `${one} over ${other}`));
})"""
PUSHED = (
    """() => [...document.querySelectorAll('.wide')].map(it => it.scrollWidth - it.clientWidth)"""
)
LETTERS = """() => Math.min(...[...document.querySelectorAll('.strip text, .faults text')].map(it =>
  parseFloat(getComputedStyle(it).fontSize) * it.ownerSVGElement.getBoundingClientRect().width /
  it.ownerSVGElement.viewBox.baseVal.width))"""


@pytest.fixture
def desk() -> FakeDesk:
    """A garden where a lot stands on the page."""
    desk = FakeDesk()
    desk.set(
        supply={
            "week_l": 3000.0,
            "week_left_l": 1420.0,
            "tank_l": 1000.0,
            "tank_left_l": 300.0,
            "days": ["mon", "wed", "fri"],
        },
        alerts=[
            {
                "id": "a1",
                "code": "burst",
                "bed": None,
                "valve": None,
                "probe": None,
                "since": "2026-07-15T17:12:00Z",
                "text": "20.0 L/min flowed where 12.0 L/min should: a pipe may have burst.",
                "person_needed": True,
            }
        ],
    )
    running = {"want_l": 122.0, "given_l": 12.0, "pulse": 1, "pulses": 4, "by": "policy"}
    desk.set_bed("south", state="watering", valve="open", watering=running)
    return desk


@pytest.mark.parametrize("units", ["metric", "us"])
def test_every_page_fits_and_can_be_hit(browser: Any, url: str, desk: FakeDesk, units: str) -> None:
    desk.set(garden={**desk.view()["garden"], "units": units})
    page = opened(browser, WIDE_PX)
    wrong: dict[str, list[str]] = {}
    for path in PAGES:
        if path == "/docs":  # for programmers, at a desk
            continue
        page.goto(url + path)
        found = page.evaluate(SMALL_TARGETS, TARGET_PX) + page.evaluate(CUT)
        if page.evaluate("document.documentElement.scrollWidth") > WIDE_PX:
            found.append("wider than the phone")
        if found:
            wrong[path] = found
    assert wrong == {}
    page.context.close()


@pytest.mark.parametrize("wide", [320, 390, 760, 1280])
def test_the_books_tables_fit_without_a_push_sideways(browser: Any, url: str, wide: int) -> None:
    page = opened(browser, wide)
    page.goto(f"{url}/season")
    tables = page.evaluate(PUSHED)
    assert len(tables) == 2
    assert [over for over in tables if over > 0] == []
    heads = page.get_by_role("columnheader", include_hidden=True)
    assert heads.filter(has_text="Past its line").count() == 1
    assert page.get_by_role("rowheader", name="South").count() == 1
    page.context.close()


def test_the_first_beds_buttons_stand_above_the_bar_on_the_smallest_phone(
    browser: Any, url: str, desk: FakeDesk
) -> None:
    desk.set(alerts=[], supply=None)
    page = opened(browser, WIDE_PX)
    page.set_viewport_size({"width": WIDE_PX, "height": SMALLEST_PX})
    page.goto(url)
    acts = page.locator(".acts").first.bounding_box()
    bar = page.locator(".everything").bounding_box()
    assert acts["y"] + acts["height"] <= bar["y"]
    page.context.close()


@pytest.mark.parametrize("wide", [320, 390, 1280])
def test_the_letters_of_the_books_picture_can_be_read(browser: Any, url: str, wide: int) -> None:
    page = opened(browser, wide)
    page.goto(f"{url}/season")
    assert page.locator(".faults text").count() >= 3
    assert page.evaluate(LETTERS) >= LETTERS_PX
    assert page.evaluate(CUT) == []
    page.context.close()


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("span", ["10", "30", "season"])
@pytest.mark.parametrize("wide", [320, 390, 1280])
def test_the_letters_of_the_strip_can_be_read(
    browser: Any, url: str, desk: FakeDesk, wide: int, span: str, units: str
) -> None:
    desk.set(garden={**desk.view()["garden"], "units": units})
    page = opened(browser, wide)
    page.goto(f"{url}/?span={span}")
    assert page.evaluate(LETTERS) >= LETTERS_PX
    assert page.evaluate(CUT) == []
    assert page.evaluate(STRUCK) == []
    page.context.close()


def test_a_code_for_a_second_phone_is_large_and_white_in_the_dark_too(
    browser: Any, served: Served
) -> None:
    served.app.state.link_base = "http://garden.local:8470"
    page = opened(browser, WIDE_PX, "dark")
    page.goto(f"{served.url}/open?code={served.app.state.issue_code()}")
    page.wait_for_url(f"{served.url}/")  # it goes there by itself
    page.goto(f"{served.url}/phones")
    page.get_by_label("Whose phone it is").fill("Ann's")
    page.get_by_role("button", name="Show a code").click()
    code = page.locator(".code svg")
    box = code.bounding_box()
    assert box["width"] == box["height"] >= 0.8 * WIDE_PX
    assert box["x"] + box["width"] <= WIDE_PX
    assert "http://garden.local:8470/open?code=" in page.locator(".link").inner_text()
    assert page.evaluate("document.documentElement.scrollWidth") <= WIDE_PX
    ground = code.locator("rect").evaluate("it => getComputedStyle(it).fill")
    assert ground == "rgb(255, 255, 255)"
    page.context.close()


def test_the_looks_above_would_find_something(browser: Any, url: str) -> None:
    """Else the tests above could not fail."""
    page = opened(browser, WIDE_PX, bypass_csp=True)
    page.goto(url)
    page.add_style_tag(content=".strip { font-size: 40px } .acts .button { height: 20px }")
    page.add_style_tag(content=".acts .button { min-height: 0; padding: 0 }")
    assert page.evaluate(CUT) != []
    assert page.evaluate(STRUCK) != []
    assert page.evaluate(SMALL_TARGETS, TARGET_PX) != []
    page.add_style_tag(content=".strip { font-size: 6px }")
    assert page.evaluate(LETTERS) < LETTERS_PX
    page.context.close()
