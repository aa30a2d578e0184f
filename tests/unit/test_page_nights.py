"""Nights in which the clocks change: no time on the page means two instants."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from fastapi.testclient import TestClient

from api.desk import FakeDesk
from api.http import create_app
from api.page.words import Tongue

RIGHT = "the-operators-token"
AUTUMN, SPRING = "2026-11-01T05:00:00Z", "2026-03-08T06:00:00Z"  # 22:00 local, the evenings before


def utc_s(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def tongue(zone: str, now: str) -> Tongue:
    return Tongue(zone=ZoneInfo(zone), us=False, now_utc_s=utc_s(now))


@pytest.mark.parametrize(
    ("zone", "at", "said"),
    [
        ("America/Los_Angeles", "2026-11-01T07:59:00Z", "00:59"),
        ("America/Los_Angeles", "2026-11-01T08:30:00Z", "01:30 PDT"),
        ("America/Los_Angeles", "2026-11-01T09:30:00Z", "01:30 PST"),
        ("America/Los_Angeles", "2026-11-01T10:00:00Z", "02:00"),
        ("America/Los_Angeles", "2026-03-08T09:59:00Z", "01:59"),
        ("America/Los_Angeles", "2026-03-08T10:00:00Z", "03:00"),
        ("Europe/Berlin", "2026-10-25T00:30:00Z", "02:30 CEST"),
        ("Europe/Berlin", "2026-10-25T01:30:00Z", "02:30 CET"),
        ("Asia/Tokyo", "2026-11-01T08:30:00Z", "17:30"),
    ],
)
def test_an_hour_that_comes_twice_says_which(zone: str, at: str, said: str) -> None:
    assert tongue(zone, at).clock(utc_s(at)) == said


@pytest.mark.parametrize("zone", ["America/Los_Angeles", "Europe/Berlin", "Australia/Lord_Howe"])
def test_within_a_day_no_two_instants_have_the_same_words(zone: str) -> None:
    for begins in ("2026-10-24T12:00:00Z", "2026-10-31T12:00:00Z", "2026-04-04T06:00:00Z"):
        words = tongue(zone, begins)
        minutes = [utc_s(begins) + 60.0 * n for n in range(36 * 60)]
        said = [words.when(at) for at in minutes]
        assert len(set(said)) == len(said)


def test_a_window_over_the_change_says_its_ends() -> None:
    night = tongue("America/Los_Angeles", AUTUMN)
    first, last = utc_s("2026-11-01T08:30:00Z"), utc_s("2026-11-01T09:30:00Z")
    assert night.window(first, last) == "tonight from 01:30 PDT"


@pytest.mark.parametrize(
    ("now", "typed", "until", "said"),
    [
        (AUTUMN, "2026-11-01T01:30", "2026-11-01T08:30:00Z", "tomorrow 01:30 PDT"),
        (AUTUMN, "2026-11-01T09:00", "2026-11-01T17:00:00Z", "tomorrow 09:00"),
        (SPRING, "2026-03-08T02:30", "2026-03-08T10:30:00Z", "tomorrow 03:30"),
        (SPRING, "2026-03-08T09:00", "2026-03-08T16:00:00Z", "tomorrow 09:00"),
    ],
    ids=["twice", "after-autumn", "never", "after-spring"],
)
def test_a_pause_that_ends_in_such_a_night_says_when(
    now: str, typed: str, until: str, said: str
) -> None:
    desk = FakeDesk()
    desk.set(at=now)
    client = TestClient(
        create_app(desk, token=RIGHT, monotonic=lambda: 0.0),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
    )
    shown = client.get(f"/pause?until={typed}").text
    kept = re.search(r'name="until" value="([^"]+)"', shown)
    assert kept is not None
    assert datetime.fromisoformat(kept[1]) == datetime.fromisoformat(until).astimezone(UTC)
    assert f"until {said}." in shown.replace("\u00a0", " ")
