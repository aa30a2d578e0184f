"""Fixtures of the tests in a browser."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from api.desk import FakeDesk
from tests.browser.page_bench import Served, chromium


@pytest.fixture
def desk() -> FakeDesk:
    """An invented garden."""
    return FakeDesk()


@pytest.fixture
def served(desk: FakeDesk) -> Iterator[Served]:
    """Its page."""
    served = Served().begin(desk)
    yield served
    served.end()


@pytest.fixture
def url(served: Served) -> str:
    """Where that page is."""
    return served.url


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One browser for a file."""
    with chromium() as browser:
        yield browser
