"""The garden's page kept by a browser: 304 while nothing of it changed, never a spent form key."""

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.desk import FakeDesk
from api.http import create_app
from api.security import FORM_MARK_S
from controller.effects import Answer

RIGHT = "the-operators-token"
OWN = {"Origin": "http://localhost"}


class Clock:
    def __init__(self) -> None:
        self.mono_s = 1000.0

    def __call__(self) -> float:
        return self.mono_s


@pytest.fixture
def desk() -> FakeDesk:
    return FakeDesk()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def app(desk: FakeDesk, clock: Clock) -> Any:
    return create_app(desk, token=RIGHT, monotonic=clock)


def _browser(app: Any) -> TestClient:
    browser = TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5))
    browser.get("/")  # brings its cookie
    return browser


@pytest.fixture
def browser(app: Any) -> TestClient:
    return _browser(app)


def _again(browser: TestClient, tag: str, path: str = "/") -> int:
    return browser.get(path, headers={"If-None-Match": tag}).status_code


def test_an_unchanged_page_is_304_and_empty(browser: TestClient) -> None:
    first = browser.get("/")
    assert first.headers["cache-control"] == "private, no-cache"
    again = browser.get("/", headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == first.headers["etag"]
    size = sum(len(name) + len(value) + 4 for name, value in again.headers.raw)
    assert size < 900


def test_a_browser_without_a_cookie_keeps_nothing(app: Any) -> None:
    first = TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5)).get("/")
    assert first.headers["cache-control"] == "no-store"
    assert "etag" not in first.headers


def test_whatever_is_shown_changes_the_tag(browser: TestClient, desk: FakeDesk) -> None:
    tag = browser.get("/").headers["etag"]
    assert _again(browser, tag, "/?span=30") == 200
    desk.set_bed("south", valve="told_to_close")
    assert _again(browser, tag) == 200
    tag = browser.get("/").headers["etag"]
    browser.post("/do/stop", headers=OWN, follow_redirects=False)
    assert _again(browser, tag) == 200, "what is said after a stop"


def test_two_browsers_share_no_tag(browser: TestClient, app: Any) -> None:
    assert _again(_browser(app), browser.get("/").headers["etag"]) == 200


def test_a_page_whose_form_key_was_spent_is_fetched_anew(
    browser: TestClient, desk: FakeDesk
) -> None:
    """Even where the order changed nothing: a refused one leaves the view as it was."""
    holds = {**desk.view()["holds"], "paused_until": "2026-07-18T01:00:00Z"}
    desk.set(holds=holds)
    page = browser.get("/")
    (key,) = {
        *re.findall(
            r'action="/do/resume"><input type="hidden" name="key" value="([^"]+)"', page.text
        )
    }
    desk.answer = Answer(order="x", status="refused", reason="x", text="No.")
    browser.post("/do/resume", data={"key": key}, headers=OWN)
    assert _again(browser, page.headers["etag"]) == 200
    assert key not in browser.get("/").text


def test_a_kept_page_is_no_older_than_its_form_key(browser: TestClient, clock: Clock) -> None:
    tag = browser.get("/").headers["etag"]
    clock.mono_s += FORM_MARK_S
    assert _again(browser, tag) == 200


def test_static_files_are_kept_for_ever_under_a_name_that_follows_their_content(
    browser: TestClient,
) -> None:
    names = re.findall(r'(?:href|src)="(/static/[^"]+)"', browser.get("/").text)
    assert len(names) == 4
    for name in names:
        assert re.fullmatch(r"/static/(page|stop|icon)-[0-9a-f]{12}\.(css|js|svg)", name)
        got = browser.get(name)
        assert got.headers["cache-control"] == "public, max-age=31536000, immutable"
        other = re.sub(r"-[0-9a-f]{12}", "-000000000000", name)
        assert browser.get(other).status_code == 404
