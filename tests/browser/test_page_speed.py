"""How much the first view weighs, and how soon it stands on a slow phone: measured in Chromium.

The phone is played by Chromium's own throttles: a sixth of this processor, 1.5 Mbit/s, 150 ms for
each answer. Cold: nothing is in the browser's store.
"""

import statistics
import sys
from typing import Any

import pytest

from api.desk import FakeDesk
from tests.browser.page_bench import needs_chromium, opened

pytestmark = [needs_chromium, pytest.mark.slow]
MOST_FIRST_VIEW_BYTES = 30_000
SLOWER, LATENCY_MS, BIT_S = 6, 150, 1.5e6
LOADS = 5
ASKED_S, MOST_S = 1.0, 1.5
STANDS = """() => {
  const [load] = performance.getEntriesByType("navigation");
  const first = performance.getEntriesByName("first-contentful-paint")[0];
  return Math.max(load.domContentLoadedEventEnd, first ? first.startTime : Infinity) / 1000;
}"""


def _weight(browser: Any, url: str) -> tuple[int, list[str]]:
    """Bytes on the wire until the page stands, headers and all, and what was fetched."""
    page = opened(browser, 390)
    wire = page.context.new_cdp_session(page)
    wire.send("Network.enable")
    sizes: list[float] = []
    asked: list[str] = []
    wire.on("Network.loadingFinished", lambda told: sizes.append(told["encodedDataLength"]))
    wire.on("Network.responseReceived", lambda told: asked.append(told["response"]["url"]))
    page.goto(url, wait_until="networkidle")
    page.context.close()
    return round(sum(sizes)), asked


@pytest.mark.parametrize("span", ["10", "30", "season"])
def test_a_first_view_weighs_little(browser: Any, url: str, desk: FakeDesk, span: str) -> None:
    many, asked = _weight(browser, f"{url}/?span={span}")
    sys.stdout.write(f"first view of {span}: {many} bytes in {len(asked)} answers\n")
    assert many <= MOST_FIRST_VIEW_BYTES
    assert all(one.startswith(url) for one in asked), "nothing comes from elsewhere"


def _stands_s(browser: Any, url: str) -> float:
    page = opened(browser, 390)
    wire = page.context.new_cdp_session(page)
    wire.send("Network.enable")
    speed = {"downloadThroughput": BIT_S / 8, "uploadThroughput": BIT_S / 8}
    wire.send(
        "Network.emulateNetworkConditions", {"offline": False, "latency": LATENCY_MS, **speed}
    )
    wire.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    page.goto(url)
    page.locator(".strip").nth(3).wait_for()
    page.wait_for_function("performance.getEntriesByName('first-contentful-paint').length")
    taken_s: float = page.evaluate(STANDS)
    page.context.close()
    return taken_s


def test_the_chart_stands_within_a_second_on_a_slow_phone(browser: Any, url: str) -> None:
    """Asked for is 1.0 s; beyond 1.5 s it fails, as the machine that tests may be busy."""
    taken_s = [_stands_s(browser, url) for _ in range(LOADS)]
    median_s = statistics.median(taken_s)
    listed = ", ".join(f"{one:.2f}" for one in taken_s)
    sys.stdout.write(f"cold on a slow phone: {median_s:.2f} s in the median of {listed}\n")
    assert median_s <= MOST_S, f"{ASKED_S} s are asked for"
