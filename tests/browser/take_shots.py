"""Takes the README's two pictures of the page anew, from a demo that runs.

thirstline demo --port 8470          # in one terminal, then at once in another, with its link:
python tests/browser/take_shots.py LINK
"""

import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

SHOTS = Path(__file__).parent / "shots"
SIZES = {"phone": (390, 1180), "wide": (1280, 860)}
LOOKS = 120  # a bed drinks within seconds of a demo's start
LOOK_EVERY_MS = 500


def main(link: str) -> None:
    """Wait until a bed drinks, then picture the page.

    Args:
        link: as the demo prints it; works once.
    """
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium")
        page = browser.new_context().new_page()
        page.goto(link)
        page.goto(link.partition("/open")[0])
        for _ in range(LOOKS):
            if page.locator("main[data-open='1'] .running").count():
                break
            page.wait_for_timeout(LOOK_EVERY_MS)
            page.reload()
        for name, (wide, high) in SIZES.items():
            page.set_viewport_size({"width": wide, "height": high})
            page.wait_for_timeout(300)
            page.screenshot(path=SHOTS / f"{name}.png")
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1])
