"""The season's report on paper: ink on white, no buttons, nothing cut, few sheets."""

import re
from typing import Any

import pytest

from api.desk import FakeDesk
from tests.browser.page_bench import needs_chromium, opened

pytestmark = needs_chromium
A4_PX = 794  # 210 mm at 96 to the inch
MARGIN_PX = 38  # 1 cm
SHEETS_MOST = 3  # of a garden of four beds
OVER = """() => [...document.querySelectorAll('main *')]
  .filter(it => !it.closest('svg') || it.matches('svg'))
  .filter(it => it.getClientRects().length && it.getBoundingClientRect().right > innerWidth + 1)
  .map(it => it.tagName)"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_season_book_prints(
    browser: Any, url: str, desk: FakeDesk, scheme: str, units: str
) -> None:
    desk.set(garden={**desk.view()["garden"], "units": units})
    page = opened(browser, A4_PX - 2 * MARGIN_PX, scheme)
    page.goto(f"{url}/season")
    assert page.locator(".everything").is_visible()
    page.emulate_media(media="print", color_scheme=scheme)
    assert not page.locator(".everything").is_visible()
    assert all(not one.is_visible() for one in page.locator(".unprinted").all())
    assert page.get_by_role("heading", name="The season book").is_visible()
    assert page.evaluate(OVER) == []
    ink, paper = (
        page.evaluate(f"getComputedStyle(document.documentElement).{name}")
        for name in ("color", "backgroundColor")
    )
    assert sum(map(int, re.findall(r"\d+", ink)[:3])) < 250, "dark letters"
    assert "255, 255, 255" in paper or paper == "rgba(0, 0, 0, 0)", "a white sheet"
    margin = dict.fromkeys(("top", "right", "bottom", "left"), "1cm")
    sheets = page.pdf(format="A4", margin=margin)
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", sheets)) <= SHEETS_MOST
    page.context.close()
