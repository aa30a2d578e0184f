"""Takes the eight pictures of the page that matter anew, from a demo that runs.

thirstline demo --port 8470          # in one terminal, then at once in another, with its link:
python tests/browser/take_shots.py LINK
"""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

SHOTS = Path(__file__).parent / "shots"
PHONE, TALL, WIDE = (390, 844), (390, 1180), (1280, 860)
LOOKS = 120  # a bed drinks within seconds of a demo's start
LOOK_EVERY_MS = 500


def _why(page: Any, at: str) -> None:
    page.goto(at)
    page.locator("summary", has_text="Why").first.click()


def _water(page: Any, at: str) -> None:
    page.goto(at)
    page.get_by_role("link", name="Water…").first.click()


def _lost(page: Any, at: str) -> None:
    page.goto(at)
    page.context.set_offline(True)
    page.locator(".contact").wait_for(state="visible")


def _open(path: str) -> Callable[[Any, str], None]:
    def opens(page: Any, at: str) -> None:
        page.goto(f"{at}{path}")

    return opens


PICTURES: dict[str, tuple[tuple[int, int], str, Callable[[Any, str], None]]] = {
    "phone": (TALL, "light", _open("/")),
    "phone-dark": (PHONE, "dark", _open("/")),
    "wide": (WIDE, "light", _open("/")),
    "why": (TALL, "light", _why),
    "water": (PHONE, "light", _water),
    "walk": (PHONE, "light", _open("/walk")),
    "season": (PHONE, "light", _open("/season")),
    "no-contact": (PHONE, "light", _lost),
}


def main(link: str) -> None:
    """Wait until a bed drinks, then picture the pages.

    Args:
        link: as the demo prints it; works once.
    """
    at = link.partition("/open")[0]
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium")
        page = browser.new_context().new_page()
        page.goto(link)
        page.goto(at)
        for _ in range(LOOKS):
            if page.locator("main[data-open='1'] .running").count():
                break
            page.wait_for_timeout(LOOK_EVERY_MS)
            page.reload()
        for name, ((wide, high), scheme, shows) in PICTURES.items():
            page.set_viewport_size({"width": wide, "height": high})
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            shows(page, at)
            page.wait_for_timeout(300)
            page.screenshot(path=SHOTS / f"{name}.png")
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1])
