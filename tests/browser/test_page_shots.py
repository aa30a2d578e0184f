"""The page in a real browser: sizes and schemes, without JavaScript, refresh, lost contact."""

from pathlib import Path
from typing import Any

import pytest

from api.desk import FakeDesk
from tests.browser.page_bench import needs_chromium
from tests.browser.page_bench import opened as _open
from tests.browser.take_shots import PICTURES, SHOTS

SMALLEST_TARGET_PX = 44  # common practice for a thumb
pytestmark = [needs_chromium, pytest.mark.slow]


@pytest.fixture
def desk() -> FakeDesk:
    desk = FakeDesk()
    running = {"want_l": 122.0, "given_l": 12.0, "pulse": 1, "pulses": 4, "by": "policy"}
    desk.set_bed("south", state="watering", valve="open", watering=running)
    return desk


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("wide", [320, 390, 768, 1280])
def test_the_page_fits_and_nothing_complains(
    browser: Any, url: str, tmp_path: Path, wide: int, scheme: str
) -> None:
    page = _open(browser, wide, scheme)
    for path in (
        "/",
        "/beds/south/pause",
        "/beds/south/water?how=refill",
        "/beds/south/hand",
        "/lock",
    ):
        page.goto(url + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= wide
    page.goto(url)
    shot = tmp_path / "page.png"
    page.screenshot(path=shot, full_page=True)
    assert shot.stat().st_size > 20_000
    assert page.complaints == []
    page.context.close()


def test_close_every_valve_is_in_view_and_large_enough_for_a_thumb(browser: Any, url: str) -> None:
    page = _open(browser, 360)
    page.goto(url)
    box = page.get_by_role("button", name="Close every valve").bounding_box()
    assert box["y"] + box["height"] <= 844
    for target in page.locator(".button, summary").all():
        assert target.bounding_box()["height"] >= SMALLEST_TARGET_PX
    page.context.close()


def test_stop_is_seen_above_the_bar_on_a_small_phone(browser: Any, url: str) -> None:
    page = _open(browser, 320)
    page.set_viewport_size({"width": 320, "height": 640})
    page.goto(url)
    stop = page.get_by_role("button", name="Stop", exact=True).bounding_box()
    bar = page.locator(".everything").bounding_box()
    assert stop["y"] + stop["height"] <= bar["y"]
    page.context.close()


def test_everything_works_without_javascript(browser: Any, url: str, desk: FakeDesk) -> None:
    page = _open(browser, 390, java_script_enabled=False)
    page.goto(url)
    page.get_by_role("link", name="Water…").first.click()
    page.get_by_label("Litres").fill("40")
    page.get_by_role("button", name="Water this many litres…").click()
    page.get_by_text("gives about 40").wait_for()
    assert desk.orders == []
    page.get_by_role("button", name="Water now").click()
    page.get_by_role("heading", name="Done").wait_for()
    assert desk.orders[0]["litres"] == 40.0
    page.get_by_role("link", name="Back to the garden").click()
    page.get_by_role("button", name="Close every valve").click()
    page.get_by_text("Every valve was told to close at 11:05.").wait_for()
    assert desk.stops == [(None, "loopback")]
    page.context.close()


def test_the_page_renews_itself_and_keeps_what_is_unfolded(
    browser: Any, url: str, desk: FakeDesk
) -> None:
    page = _open(browser, 390)
    page.goto(url)
    page.locator("summary").first.click()
    desk.set_bed("south", valve="told_to_close", watering=None)
    page.get_by_text("told to close, not verified").wait_for(timeout=10_000)
    assert page.locator("details[open]").count() == 1
    assert page.complaints == []
    page.context.close()


def test_an_unchanged_garden_is_not_fetched_again(browser: Any, url: str) -> None:
    page = _open(browser, 390)
    asked: list[tuple[str, int]] = []
    page.on("response", lambda got: asked.append((got.url.removeprefix(url), got.status)))
    page.goto(url)
    page.wait_for_timeout(300)
    with page.expect_response("**/api/garden"):
        page.evaluate("window.dispatchEvent(new Event('online'))")
    page.wait_for_timeout(200)
    assert [status for path, status in asked if path == "/api/garden"] == [304, 304]
    assert [path for path, _ in asked].count("/") == 1
    page.context.close()


def test_lost_contact_is_said_and_greys_the_curve(browser: Any, url: str) -> None:
    page = _open(browser, 390)
    page.goto(url)
    page.wait_for_timeout(300)
    page.context.set_offline(True)
    line = page.locator(".contact")
    line.wait_for(state="visible", timeout=15_000)
    assert line.inner_text().startswith("No contact since ")
    assert "grayscale" in page.locator(".strip").first.evaluate("it => getComputedStyle(it).filter")
    page.context.set_offline(False)
    line.wait_for(state="hidden", timeout=15_000)
    page.context.close()


def test_the_strip_can_be_read_by_touch(browser: Any, url: str) -> None:
    page = _open(browser, 390)
    page.goto(url)
    box = page.locator(".strip").first.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.4, box["y"] + box["height"] * 0.6)
    said = page.locator(".read").first.inner_text()
    assert said.endswith("of its water used")
    page.mouse.move(box["x"] + box["width"] * 0.95, box["y"] + box["height"] * 0.6)
    assert page.locator(".read").first.inner_text() == said, "nothing is read from the future"
    page.context.close()


def test_no_button_under_a_bed_breaks_its_line(browser: Any, url: str, desk: FakeDesk) -> None:
    holds = desk.view()["holds"]
    pause = {"until": "2026-07-18T07:00:00Z", "why": "away"}
    desk.set(holds={**holds, "beds_paused": {"tunnel": pause}})
    page = _open(browser, 390)
    page.goto(url)
    buttons = page.locator(".acts .button").all()
    said = {button.inner_text() for button in buttons}
    assert {"Water…", "Pause…", "End pause", "Tell…", "Stop"} == said
    for button in buttons:
        assert button.bounding_box()["height"] < 50.0, button.inner_text()
    page.context.close()


def test_scarce_water_fits_on_a_small_phone(browser: Any, url: str, desk: FakeDesk) -> None:
    desk.set(
        supply={
            "week_l": 3000.0,
            "week_left_l": 1420.0,
            "tank_l": 1000.0,
            "tank_left_l": 300.0,
            "days": ["mon", "wed", "fri"],
        }
    )
    desk.set_bed(
        "south",
        poured={"litres": 40.0, "at": "2026-07-15T14:30:00Z"},
        miss={"since": "2026-07-15T14:30:00Z", "tonight": False},
        scarce={"by": "days", "from": "2026-07-17T07:00:00Z", "stress_days": 2},
    )
    page = _open(browser, 320)
    for path in ("/", "/tank", "/beds/south/hand", "/beds/south/pause"):
        page.goto(url + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        for target in page.locator(".button, .supply a").all():
            assert target.bounding_box()["height"] >= SMALLEST_TARGET_PX
    assert page.complaints == []
    page.context.close()


def test_the_eight_pictures_that_matter_are_kept_and_shown() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    assert len(PICTURES) == 8
    for name in PICTURES:
        assert (SHOTS / f"{name}.png").read_bytes().startswith(b"\x89PNG"), name
        assert f"tests/browser/shots/{name}.png" in readme, name
