"""What the page says that lifting an alert does is what lifting it does."""

from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.desk import FakeDesk
from api.http import create_app
from api.page.advice import LIFTED, NOT_LIFTED, RESTART, lifted
from controller.alarming.codes import ALERTS
from controller.flagging import SWAP_ALERT
from controller.watering.guard import LATCHING

ORDERED = LATCHING | {SWAP_ALERT, "history_lost", "probe_suspect"}  # what `orders._clear` lifts
RIGHT = "the-operators-token"


def alert(code: str, **more: Any) -> dict[str, Any]:
    """An alert as the view tells it."""
    told = {"id": code, "code": code, "bed": "south", "valve": None, "probe": None, "text": "So."}
    return {**told, "since": "2026-07-15T17:00:00Z", "person_needed": True, **more}


def page(code: str, **more: Any) -> str:
    desk = FakeDesk()
    desk.set(alerts=[alert(code, **more)])
    client = TestClient(
        create_app(desk, token=RIGHT, monotonic=lambda: 0.0),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
    )
    return client.get(f"/alerts/{code}/clear").text


def test_every_alert_that_a_person_lifts_has_a_sentence_of_its_own() -> None:
    assert {code.value for code in LIFTED} == ORDERED
    assert len(set(LIFTED.values())) == len(LIFTED)


@pytest.mark.parametrize("code", [code.value for code in ALERTS])
def test_each_page_says_what_lifting_does(code: str) -> None:
    said = lifted(alert(code))
    assert said in page(code)
    assert (said in {NOT_LIFTED, RESTART}) is (code not in ORDERED)


def test_a_doubted_probe_kept_no_water_back() -> None:
    html = page("probe_suspect", probe="south-20")
    assert "South goes on meanwhile." in html
    assert "Once lifted, the probe counts again." in html
    assert "water may flow" not in html
    assert NOT_LIFTED in page("probe_suspect", probe="south-20", person_needed=False)
