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
    # of a bed further off the night of its usual use, as `why` names it
    assert next(line for line in lines if line.startswith("Tunnel")).endswith("the night to Sat")
    # beyond a week a weekday alone would be wrong
    desk.set_bed("old-compost", usual_night=None)
    lines = look.summary(desk.view()).splitlines()
    assert next(line for line in lines if line.startswith("Old compost")).endswith("Mon – 22 Jul")


def test_status_begins_with_the_pages_large_sentence(desk: FakeDesk) -> None:
    lines = look.summary(desk.view()).splitlines()
    assert lines[1] == "All is well. South drinks next, tonight."
    assert lines[2] == "Nothing for you to do. Last reading 11:01."
    desk.set(link_up=False)
    lines = look.summary(desk.view()).splitlines()
    assert lines[1].startswith("Look here: No contact with the valves and probes.")


@pytest.mark.parametrize(
    ("valve", "said"), [("closed", "was closed"), ("open", "was open"), ("opening", "was opening")]
)
def test_no_valve_is_called_closed_unheard(desk: FakeDesk, valve: str, said: str) -> None:
    desk.set_bed("south", valve=valve, valve_heard=False)
    south = next(one for one in look.summary(desk.view()).splitlines() if one.startswith("South"))
    assert said in south
    assert f"Its valve: {said}." in look.why("south", desk.view())
    assert "All is well" not in look.summary(desk.view())


def test_a_watering_that_is_over_is_not_promised_any_more(desk: FakeDesk) -> None:
    told = {"code": "at_line", "text": "South comes to its line. It gets 122 L, deeply."}
    reason = {**told, "numbers": {"depletion_frac": 0.41, "dose_l": 122.0}}
    desk.set_bed("south", reason=reason)
    desk.set_bed("south", last_watering={"at": "2026-07-15T11:12:00Z", "litres": 118.0})
    said = look.why("south", desk.view())
    assert said.startswith("South got 118 L until 04:12. It is judged anew before it drinks again.")
    assert "122 L" not in said
    desk.set_bed("south", last_watering=None)
    assert "South was to be watered, and is judged anew" in look.summary(desk.view())
    running = {"want_l": 122.0, "given_l": 12.0, "pulse": 1, "pulses": 4, "by": "policy"}
    desk.set_bed("south", watering=running, state="due")  # it waits for its turn
    assert "It gets 122 L, deeply." in look.why("south", desk.view())


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
