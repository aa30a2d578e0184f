"""A stop that nobody hears is said on the page, and one that is heard works as without a script."""

import math
from typing import Any

import pytest

from api.desk import FakeDesk
from controller.run import LEASE_S, MARGIN_S
from tests.browser.page_bench import Served, needs_chromium, opened

pytestmark = [needs_chromium, pytest.mark.slow]
SOON_MS = 15_000
RUNNING = {"want_l": 122.0, "given_l": 12.0, "pulse": 1, "pulses": 4, "by": "policy"}
CLOSES = f"water stops by itself within {math.ceil((LEASE_S + MARGIN_S) / 60.0)} minutes"


def _unheard(page: Any) -> str:
    line = page.locator(".everything [role=alert]")
    line.wait_for(state="visible", timeout=SOON_MS)
    said: str = line.inner_text()
    return said


@pytest.mark.parametrize("path", ["/", "/beds/south/hand", "/season"])
@pytest.mark.parametrize("gone", ["phone", "daemon"])
def test_a_stop_without_contact_says_what_holds_then(
    browser: Any, served: Served, desk: FakeDesk, path: str, gone: str
) -> None:
    page = opened(browser, 390)
    page.goto(f"{served.url}{path}")
    if gone == "phone":
        page.context.set_offline(True)
    else:
        served.end()
    page.get_by_role("button", name="Close every valve").click()
    said = _unheard(page)
    assert said.startswith("No contact")
    assert CLOSES in said
    assert "shut the tap by hand" in said
    assert page.url == f"{served.url}{path}"
    assert desk.stops == []
    if gone == "phone":
        page.context.set_offline(False)
        page.get_by_role("button", name="Close every valve").click()
        page.get_by_text("Every valve was told to close").wait_for(timeout=SOON_MS)
        assert page.locator(".everything [role=alert]").count() == 0
        assert [bed for bed, _ in desk.stops] == [None]
    page.context.close()


def test_a_beds_stop_without_contact_says_so_too(
    browser: Any, served: Served, desk: FakeDesk
) -> None:
    desk.set_bed("south", state="watering", valve="open", watering=RUNNING)
    page = opened(browser, 390)
    page.goto(served.url)
    page.context.set_offline(True)
    page.get_by_role("button", name="Stop", exact=True).click()
    assert CLOSES in _unheard(page)
    page.context.close()


def test_a_stop_that_is_refused_is_shown_as_without_a_script(
    browser: Any, served: Served, desk: FakeDesk
) -> None:
    def fails(bed: str | None, who: str) -> Any:
        raise TimeoutError

    desk.stop_now = fails  # type: ignore[method-assign]
    page = opened(browser, 390)
    page.goto(served.url)
    page.get_by_role("button", name="Close every valve").click()
    page.get_by_text("The engine did not confirm. Shut the tap by hand.").wait_for(timeout=SOON_MS)
    page.context.close()


def test_without_scripts_a_stop_is_a_plain_form(
    browser: Any, served: Served, desk: FakeDesk
) -> None:
    page = opened(browser, 390, java_script_enabled=False)
    page.goto(f"{served.url}/beds/south/hand")
    page.get_by_role("button", name="Close every valve").click()
    page.get_by_text("Every valve was told to close").wait_for(timeout=SOON_MS)
    assert [bed for bed, _ in desk.stops] == [None]
    page.context.close()


@pytest.mark.parametrize("wide", [900, 1280, 1600])
def test_on_a_wide_page_the_button_lies_over_no_text(
    browser: Any, served: Served, wide: int
) -> None:
    """It stands in a bar of its own: what is under it is not seen at all."""
    page = opened(browser, wide)
    page.goto(served.url)
    box = page.locator(".everything").bounding_box()
    assert (box["x"], box["width"]) == (0, wide)
    back = page.evaluate("getComputedStyle(document.querySelector('.everything')).backgroundColor")
    assert back == page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    foot = page.locator("footer").bounding_box()
    assert foot["y"] + foot["height"] <= box["y"], "all can be read above it"
    page.context.close()
