"""A helper's page offers what a helper may do, and nothing that would then be refused."""

import re
from typing import Any

import pytest
from fastapi.routing import APIRoute

from api.desk import FakeDesk
from api.page import routes as page_routes
from api.roles import HELPER_MAY
from tests.unit.test_page_front import ALERT
from tests.unit.test_pairing import OWN, Place

PAUSE = {"until": "2026-07-18T01:00:00Z", "why": "away"}
GETS = (
    "/",
    "/?span=30",
    "/season",
    "/tank",
    "/hose",
    "/lock",
    "/walk",
    "/alarm",
    "/pause",
    "/beds/tunnel/pause",
    "/pause?days=1",
    "/alerts/a1/clear",
    *(
        f"/beds/south/{what}"
        for what in (
            "water",
            "water?how=refill",
            "pause",
            "pause?days=1",
            "hand",
            "learned",
            "stage",
            "pick",
        )
    ),
)


def _busy_garden() -> FakeDesk:
    """Whatever makes the page offer something."""
    desk = FakeDesk()
    holds = desk.view()["holds"]
    hose = {"since": "2026-07-15T17:00:00Z", "until": "2026-07-15T19:00:00Z", "who": "Ann"}
    asked = {**ALERT, "id": "flow_asked", "code": "flow_asked", "person_needed": False}
    desk.set(
        alerts=[ALERT, asked],
        holds={
            **holds,
            **{"paused_until": PAUSE["until"], "hose": hose},
            "beds_paused": {"wall-side": PAUSE},
            "beds_stopped": dict.fromkeys(desk.view()["beds"], PAUSE["until"]),
        },
        supply={
            "week_l": None,
            "week_left_l": None,
            "tank_l": 1000.0,
            "tank_left_l": 300.0,
            "days": None,
        },
    )
    told: dict[str, Any] = {
        "poured": {"litres": 40.0, "at": "2026-07-15T14:30:00Z"},
        "looks": {"looks": 2, "shift_frac": 0.01, "text": "Two looks."},
        "miss": {"since": "2026-07-15T14:30:00Z", "tonight": False},
        "marks": {"first_flower": "2026-06-01"},
        "picks": ["2026-07-20"],
    }
    desk.set_bed("south", **told)
    desk.set_bed("tunnel", state="watering", valve="open")
    return desk


def _offered(role: str) -> set[str]:
    """The routes of every form on every page, as the router writes them."""
    place = Place(_busy_garden())
    browser = place.paired(role)
    known = [one.path for one in page_routes().routes if isinstance(one, APIRoute)]
    found = set()
    for path in GETS:
        got = browser.get(path)
        assert got.status_code == 200, path
        for action in re.findall(r'method="post" action="([^"]+)"', got.text):
            fits = [r for r in known if re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", r), action)]
            assert len(fits) == 1, action
            found.add(fits[0])
    return found


def test_a_helper_is_offered_just_what_a_helper_may() -> None:
    mine = {path for method, path in HELPER_MAY if method == "POST" and path.startswith("/do/")}
    assert _offered("helper") == mine


def test_an_operator_is_offered_every_form_there_is() -> None:
    walking = {"/do/walk/answer", "/do/walk/end", "/do/unlock"}  # only in the middle of one
    forms = {
        one.path
        for one in page_routes().routes
        if isinstance(one, APIRoute) and one.path.startswith("/do/")
    }
    elsewhere = {"/do/sky", "/do/sky/forget"}  # on a page of its own; the second once it is typed
    elsewhere |= {"/do/phones", "/do/phones/{pair}/withdraw"}  # held by test_page_phones
    assert forms - _offered("operator") == walking | elsewhere


@pytest.mark.parametrize(
    "path", ["/beds/south/water", "/lock", "/tank", "/hose", "/alerts/a1/clear"]
)
def test_a_helper_who_comes_there_all_the_same_is_told(path: str) -> None:
    text = Place(_busy_garden()).paired("helper").get(path).text
    assert "Only an operator" in text
    assert "<button" not in text.partition("</main>")[0]


def test_no_link_of_a_helpers_garden_leads_to_an_order_that_is_refused() -> None:
    browser = Place(_busy_garden()).paired("helper")
    html = browser.get("/").text
    for word in ("Water…", "It is mended…", "End pause", "The hose is off", "A hose will run…"):
        assert word not in html
    for link in set(re.findall(r'href="(/[^"]*)"', html)):
        if not link.startswith("/static"):
            assert "Only an operator" not in browser.get(link).text, link


def test_a_helpers_stop_still_stops() -> None:
    desk = _busy_garden()
    browser = Place(desk).paired("helper")
    browser.post("/do/beds/tunnel/stop", headers=OWN, follow_redirects=False)
    assert [bed for bed, _ in desk.stops] == ["tunnel"]
