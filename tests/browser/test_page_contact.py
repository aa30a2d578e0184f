"""The page that loses the garden and finds it again: it says so, and nothing is closed unproved.

Chromium fires no `offline` event for a server that is gone, so both ways are tried: the phone cut
off, and the daemon ended.
"""

from typing import Any

import pytest

from api.desk import FakeDesk
from tests.browser.page_bench import Served, needs_chromium, opened

pytestmark = [needs_chromium, pytest.mark.slow]
SOON_MS = 15_000
RUNNING = {"want_l": 122.0, "given_l": 12.0, "pulse": 1, "pulses": 4, "by": "policy"}
CLOCKS = {
    "right": "",
    "a day behind": "-86400e3",
    "a day ahead": "86400e3",
}
WRONG_CLOCK = """
const Right = Date, off = {off};
Date = class extends Right {{
  constructor(...told) {{ if (told.length) super(...told); else super(Right.now() + off); }}
  static now() {{ return Right.now() + off; }}
}};
"""


def _valves(page: Any) -> list[str]:
    found: list[str] = page.locator("dl dd").all_inner_texts()
    return [said for said in found if "close" in said or "open" in said or "shut" in said]


def _drinks(desk: FakeDesk) -> None:
    desk.set_bed("south", state="watering", valve="open", watering=RUNNING)


@pytest.mark.parametrize("off", CLOCKS.values(), ids=list(CLOCKS))
def test_lost_contact_is_told_in_the_gardens_time_whatever_the_phone_thinks(
    browser: Any, served: Served, desk: FakeDesk, off: str
) -> None:
    page = opened(browser, 390, timezone_id="Asia/Tokyo")
    if off:
        page.add_init_script(WRONG_CLOCK.format(off=off))
    page.goto(served.url)
    assert _valves(page) == ["closed"] * 4
    page.context.set_offline(True)
    line = page.locator(".contact")
    line.wait_for(state="visible", timeout=SOON_MS)
    assert line.inner_text() == "No contact since 11:05. Below stands what was so then."
    assert _valves(page) == ["last seen closed"] * 4
    assert not page.locator(".verdict").is_visible(), "all was well, then"
    assert not page.locator(".todo").is_visible()
    page.context.set_offline(False)
    line.wait_for(state="hidden", timeout=SOON_MS)
    assert _valves(page) == ["closed"] * 4
    assert page.locator(".verdict").is_visible()
    page.context.close()


def test_water_that_began_meanwhile_shows_when_the_phone_is_back(
    browser: Any, served: Served, desk: FakeDesk
) -> None:
    page = opened(browser, 390)
    page.goto(served.url)
    page.context.set_offline(True)
    page.locator(".contact").wait_for(state="visible", timeout=SOON_MS)
    _drinks(desk)
    page.context.set_offline(False)
    page.get_by_role("button", name="Stop", exact=True).wait_for(timeout=SOON_MS)
    assert page.locator(".running").inner_text() == "open, 12 of 122 L, pulse 1 of 4"
    page.context.close()


def test_a_phone_that_slept_says_nothing_of_now_until_the_garden_has_answered(
    browser: Any, served: Served, desk: FakeDesk
) -> None:
    page = opened(browser, 390)
    page.goto(served.url)
    page.wait_for_timeout(300)
    held: list[Any] = []
    page.route("**/api/garden", lambda route: held.append(route))  # the answer is on its way
    page.evaluate("heardMs -= 3600e3; document.dispatchEvent(new Event('visibilitychange'))")
    page.locator(".contact").wait_for(state="visible", timeout=SOON_MS)
    assert _valves(page) == ["last seen closed"] * 4
    while not held:
        page.wait_for_timeout(20)
    held.pop().continue_()
    page.locator(".contact").wait_for(state="hidden", timeout=SOON_MS)
    assert _valves(page) == ["closed"] * 4
    page.context.close()


def test_a_page_out_of_the_browsers_store_is_renewed(
    browser: Any, served: Served, desk: FakeDesk
) -> None:
    page = opened(browser, 390)
    page.goto(served.url)
    page.get_by_role("link", name="Water…").first.click()
    _drinks(desk)
    page.go_back()
    page.get_by_role("button", name="Stop", exact=True).wait_for(timeout=SOON_MS)
    page.context.close()


def test_a_daemon_that_begins_anew_is_found_again_by_an_open_page(
    browser: Any, served: Served, desk: FakeDesk
) -> None:
    _drinks(desk)
    page = opened(browser, 390)
    page.goto(served.url)
    page.wait_for_timeout(300)
    served.end()
    line = page.locator(".contact")
    line.wait_for(state="visible", timeout=SOON_MS)
    assert "last seen open, 12 of 122 L, pulse 1 of 4" in _valves(page)
    anew = FakeDesk()
    anew.set(ready=False)
    anew.set_bed("south", valve="unknown")
    served.begin(anew)
    line.wait_for(state="hidden", timeout=SOON_MS)
    said = page.locator("main").inner_text()
    assert "For two minutes valves are only closed." in said
    assert "not known, treated as open until proved closed" in _valves(page)
    page.get_by_role("button", name="Close every valve").click()
    page.get_by_text("Every valve was told to close").wait_for(timeout=SOON_MS)
    assert anew.stops == [(None, "loopback")], "the form of the page from before the restart"
    page.context.close()


def test_two_phones_see_each_others_stop(browser: Any, served: Served, desk: FakeDesk) -> None:
    _drinks(desk)
    one, other = opened(browser, 390), opened(browser, 360)
    for page in (one, other):
        page.goto(served.url)
    one.get_by_role("button", name="Stop", exact=True).click()
    one.get_by_text("South was stopped at 11:05").wait_for(timeout=SOON_MS)
    desk.set_bed("south", valve="told_to_close", watering=None)
    other.get_by_text("Closing…").wait_for(timeout=SOON_MS)
    assert "told to close, not verified" in _valves(other)
    desk.set_bed("south", state="drying", valve="closed")
    one.bring_to_front()
    one.reload()
    assert _valves(one) == ["closed"] * 4
    for page in (one, other):
        page.context.close()


def test_both_phones_may_close_everything_at_once(
    browser: Any, served: Served, desk: FakeDesk
) -> None:
    pages = [opened(browser, 390), opened(browser, 360)]
    for page in pages:
        page.goto(served.url)
    for page in pages:
        page.get_by_role("button", name="Close every valve").click()
    for page in pages:
        page.get_by_text("Every valve was told to close").wait_for(timeout=SOON_MS)
        page.context.close()
    assert len(desk.stops) == 2
