"""The same words in the shell: `status` and `why`."""

import re
from typing import Any

import pytest

from api import look
from api.desk import FakeDesk


@pytest.fixture
def desk() -> FakeDesk:
    return FakeDesk()


def test_status_says_when_a_bed_drinks_as_the_page_does(desk: FakeDesk) -> None:
    lines = look.summary(desk.view()).splitlines()
    south = next(line for line in lines if line.startswith("South"))
    assert re.search(r" drying +tonight from 02:10$", south)
    # beyond a week a weekday alone would be wrong
    assert next(line for line in lines if line.startswith("Old compost")).endswith("Mon – 22 Jul")


def test_status_says_a_lock_once(desk: FakeDesk) -> None:
    desk.set(holds={**desk.view()["holds"], "locked": True, "lock_why": "new pipe"})
    for bed in desk.view()["beds"]:
        reason = {"code": "locked", "text": "Locked: somebody works.", "numbers": {}}
        desk.set_bed(bed, state="locked", reason=reason)
    said = look.summary(desk.view())
    assert said.count("Locked: ") == 1
    assert "Locked: new pipe" in said


def test_status_says_a_pause_once(desk: FakeDesk) -> None:
    alert: dict[str, Any] = {
        "id": "p",
        "code": "paused",
        "bed": "south",
        "valve": None,
        "probe": None,
        "since": "2026-07-15T17:12:00Z",
        "text": "South: Paused by a person.",
        "person_needed": False,
    }
    pause = {"until": "2026-07-18T01:00:00Z", "why": "fruit picking"}
    desk.set(holds={**desk.view()["holds"], "beds_paused": {"south": pause}}, alerts=[alert])
    said = look.summary(desk.view())
    assert "South is paused until Fri 18:00 (fruit picking)." in said
    assert "To look at" not in said
    assert "Paused by a person" not in said


@pytest.mark.parametrize(
    ("quality", "said"),
    [
        ("ok", "Its probes speak."),
        ("doubtful", "Its probes are in doubt."),
        ("none", "No probe speaks; it goes by its balance."),
    ],
)
def test_why_says_how_the_probes_are(desk: FakeDesk, quality: str, said: str) -> None:
    desk.set_bed("south", quality=quality)
    assert said in look.why("south", desk.view())
