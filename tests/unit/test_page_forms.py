"""The page's forms: cookie and one-use key, what they say before, and what they do."""

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.desk import FakeDesk
from api.http import create_app
from api.page import front, states
from api.page.plans import possible_words
from api.page.told import Told, told_words
from controller.effects import Answer

RIGHT = "the-operators-token"
OWN = {"Origin": "http://localhost:8470"}


@pytest.fixture
def desk() -> FakeDesk:
    return FakeDesk()


@pytest.fixture
def client(desk: FakeDesk) -> TestClient:
    return _browser(desk)


def _browser(desk: FakeDesk, clock: Any = lambda: 0.0) -> TestClient:
    app = create_app(desk, token=RIGHT, monotonic=clock)
    return TestClient(
        app,
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
        headers=OWN,
        follow_redirects=False,
    )


def key_on(client: TestClient, path: str) -> str:
    found = re.search(r'name="key" value="([^"]+)"', client.get(path).text)
    assert found is not None
    return found[1]


def test_a_page_on_loopback_brings_its_own_cookie(client: TestClient) -> None:
    cookie = client.get("/").headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "set-cookie" not in client.get("/").headers


def test_a_form_with_cookie_and_key_waters(client: TestClient, desk: FakeDesk) -> None:
    key = key_on(client, "/beds/south/water?how=litres&litres=40")
    form = {"key": key, "how": "litres", "amount": "40"}
    got = client.post("/do/beds/south/water", data=form)
    assert got.status_code == 200
    assert "South gets 40 L, about 3 min of open valve." in got.text.replace("\u00a0", " ")
    assert (desk.orders[0]["litres"], desk.orders[0]["who"]) == (40.0, "page on loopback")


def test_a_key_works_once(client: TestClient, desk: FakeDesk) -> None:
    form = {"key": key_on(client, "/lock"), "why": "new pipe"}
    assert client.post("/do/lock", data=form).status_code == 200
    got = client.post("/do/lock", data=form)
    assert got.status_code == 403
    assert "sent already" in got.text
    assert len(desk.orders) == 1


@pytest.mark.parametrize("key", ["", "1.x.y", "nan.a.b", "." * 40, "ünïcode.é.é"])
def test_a_form_without_a_key_of_ours_does_nothing(
    client: TestClient, desk: FakeDesk, key: str
) -> None:
    client.get("/")
    got = client.post("/do/lock", data={"key": key, "why": "x"})
    assert got.status_code == 403
    assert desk.orders == []


def test_a_key_of_another_browser_does_nothing(desk: FakeDesk) -> None:
    app = create_app(desk, token=RIGHT, monotonic=lambda: 0.0)
    one, other = (
        TestClient(app, base_url="http://localhost:8470", client=("127.0.0.1", port))
        for port in (5, 6)
    )
    key = key_on(one, "/lock")
    other.get("/")
    assert other.post("/do/lock", data={"key": key, "why": "x"}).status_code == 403
    assert one.post("/do/lock", data={"key": key, "why": "x"}).status_code == 200


def test_a_key_without_its_cookie_does_nothing(client: TestClient, desk: FakeDesk) -> None:
    key = key_on(client, "/lock")
    client.cookies.clear()
    assert client.post("/do/lock", data={"key": key, "why": "x"}).status_code == 403
    assert desk.orders == []


def test_a_key_ends_after_half_a_day(desk: FakeDesk) -> None:
    now = [0.0]
    client = _browser(desk, lambda: now[0])
    key = key_on(client, "/lock")
    now[0] = 12 * 3600.0 + 1.0
    got = client.post("/do/lock", data={"key": key, "why": "x"})
    assert got.status_code == 403
    assert "too old" in got.text


def test_forms_from_elsewhere_need_a_paired_cookie(desk: FakeDesk) -> None:
    app = create_app(desk, token=RIGHT, names=["thirstline.local"], loopback_only=False)
    phone = TestClient(app, base_url="http://thirstline.local:8470", client=("192.168.1.7", 5))
    assert phone.post("/do/lock", data={"key": "x", "why": "x"}).status_code == 401
    assert phone.post("/do/stop").status_code == 401
    phone.get(f"/open?code={app.state.issue_code()}")
    form = {"key": key_on(phone, "/lock"), "why": "mending"}
    assert phone.post("/do/lock", data=form).status_code == 200
    (pair,) = desk.paired
    assert desk.orders[-1]["who"] == f"operator {pair}"
    assert phone.post("/do/stop", follow_redirects=False).status_code == 303


# -- stopping from the page


def test_stop_closes_even_from_a_form_that_was_sent_before(
    client: TestClient, desk: FakeDesk
) -> None:
    form = {"key": key_on(client, "/")}
    for _ in range(2):
        got = client.post("/do/stop", data=form)
        assert (got.status_code, got.headers["location"]) == (303, "/")
    assert client.post("/do/beds/south/stop", data=form).status_code == 303
    assert [bed for bed, _ in desk.stops] == [None, None, "south"]


def test_a_stop_that_is_not_confirmed_tells_to_shut_the_tap(
    client: TestClient, desk: FakeDesk
) -> None:
    desk.slow = True
    got = client.post("/do/stop")
    assert got.status_code == 503
    assert "Shut the tap by hand" in got.text


# -- saying first, doing then


def test_asking_how_much_orders_nothing(client: TestClient, desk: FakeDesk) -> None:
    for query in ("", "?how=refill", "?how=litres&litres=40", "?how=minutes&minutes=5"):
        assert client.get(f"/beds/south/water{query}").status_code == 200
    for path in ("/beds/south/pause?days=3", "/pause?days=1", "/lock"):
        assert client.get(path).status_code == 200
    assert desk.orders == []


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_a_full_bed_is_offered_no_refill_of_nothing(client: TestClient, desk: FakeDesk) -> None:
    shown = plain(client.get("/beds/south/water").text)
    assert "Water a refill, about " in shown
    assert "a refill would add nothing" not in shown
    desk.set_bed("south", depletion_frac=0.02)
    shown = plain(client.get("/beds/south/water").text)
    assert "It is full: a refill would add nothing." in shown
    assert "Water a refill" not in shown
    assert "Water this many litres" in shown


def test_a_watering_says_what_it_will_do(client: TestClient) -> None:
    html = plain(client.get("/beds/south/water?how=litres&litres=120").text)
    assert "opens for about 10 min and gives about 120 L" in html
    assert "finished about 11:15." in html
    assert "pulses" not in html
    assert "Water now" in html


def test_a_watering_in_pulses_says_how_many_and_when_it_ends(
    client: TestClient, desk: FakeDesk
) -> None:
    limits = {"left_l": 9_000.0, "dose_l": 9_000.0, "flow_l_min": 2.0, "allowed_l": 500.0}
    desk.set(limits={"site_left_l": 9_000.0, "beds": {"south": limits}})
    html = plain(client.get("/beds/south/water?how=litres&litres=160").text)
    # 80 min in two pulses and half an hour between them, from 11:05
    assert "about 1 h 20 min and gives about 160 L, in 2 pulses with rests" in html
    assert "finished about 12:55." in html


def test_too_much_offers_the_most_that_is_possible(client: TestClient, desk: FakeDesk) -> None:
    # the least of 420, 380 and 1800 L, of which the guard reserves 1.3 times what is wanted
    assert "Between 12 and 292 L now" in plain(client.get("/beds/south/water").text)
    html = plain(client.get("/beds/south/water?how=litres&litres=500").text)
    assert "Too much: 292 L at most now." in html
    assert "Water 292 L" in html
    assert "Water now" not in html
    found = re.search(r'name="amount" value="([^"]*)"', html)
    assert found is not None
    form = {"key": key_on(client, "/"), "how": "litres", "amount": found[1]}
    assert client.post("/do/beds/south/water", data=form).status_code == 200
    assert desk.orders[0]["litres"] == 292.0


def test_too_little_offers_the_least_that_is_possible(client: TestClient) -> None:
    html = plain(client.get("/beds/south/water?how=litres&litres=5").text)
    assert "Too little: a minute, 12 L, at least." in html
    assert "Water 12 L" in html


def test_what_the_daemon_allows_goes_before_what_the_page_works_out(
    client: TestClient, desk: FakeDesk
) -> None:
    south = {**desk.view()["limits"]["beds"]["south"], "allowed_l": 33.9}
    desk.set(limits={"site_left_l": 1800.0, "beds": {"south": south}})
    assert "Between 12 and 33 L now" in plain(client.get("/beds/south/water").text)


@pytest.mark.parametrize(
    ("parts", "bed", "said"),
    [
        ({"link_up": False}, {}, "no contact with the valves"),
        ({"ready": False}, {}, "nothing opens in the first minutes"),
        ({}, {"valve": "latched"}, "latched shut until a person lifts the alert"),
        ({}, {"valve": "open", "state": "watering"}, "has a watering under way"),
        ({}, {"depletion_frac": 0.04}, "lacks nothing"),
    ],
    ids=["no-contact", "quiet-start", "latched", "drinks-already", "full"],
)
def test_what_would_be_refused_has_no_button(
    client: TestClient, desk: FakeDesk, parts: dict[str, Any], bed: dict[str, Any], said: str
) -> None:
    desk.set(**parts)
    desk.set_bed("south", **bed)
    html = client.get("/beds/south/water?how=refill").text
    assert said in html
    assert 'action="/do/beds/south/water"' not in html


def test_a_locked_garden_offers_no_watering(client: TestClient, desk: FakeDesk) -> None:
    desk.set(holds={**desk.view()["holds"], "locked": True, "lock_why": "new pipe"})
    html = client.get("/beds/south/water?how=litres&litres=40").text
    assert "The garden is locked." in html
    assert 'action="/do/beds/south/water"' not in html


@pytest.mark.parametrize(
    ("amount", "title"),
    [
        ("sixty", "Not a number"),
        ("", "Not a number"),
        ("0", "Not this much"),
        ("-5", "Not this much"),
    ],
)
def test_a_wrong_amount_has_a_heading_that_says_so(
    client: TestClient, amount: str, title: str
) -> None:
    got = client.get("/beds/south/water", params={"how": "litres", "litres": amount})
    assert f"<h1>{title}</h1>" in got.text


@pytest.mark.parametrize(
    "path",
    ["/", "/beds/south/water", "/beds/south/pause", "/lock", "/pause", "/beds/nowhere/water"],
)
def test_close_every_valve_stands_at_the_foot_of_every_page(client: TestClient, path: str) -> None:
    assert client.get(path).text.count('action="/do/stop"') == 1


def test_a_stranger_is_offered_nothing(desk: FakeDesk) -> None:
    app = create_app(desk, token=RIGHT, names=["thirstline.local"], loopback_only=False)
    phone = TestClient(app, base_url="http://thirstline.local:8470", client=("192.168.1.7", 5))
    got = phone.get("/")
    assert got.status_code == 401
    assert "/do/stop" not in got.text


# -- a stop is said back


def test_a_stop_of_every_valve_is_said_back_with_its_proof(
    client: TestClient, desk: FakeDesk
) -> None:
    assert "told to close at" not in client.get("/").text
    client.post("/do/stop")
    html = client.get("/").text
    assert "Every valve was told to close at 11:05. All 4 are proved closed." in html
    desk.set_bed("south", valve="told_to_close")
    html = client.get("/").text
    assert "3 of 4 are proved closed; not yet: South." in html
    assert ">Closing…<" in html
    assert "All is well." not in html
    desk.set(link_up=False)
    assert "No proof: there is no contact." in client.get("/").text


def test_a_stop_of_one_bed_is_said_back_with_its_litres(client: TestClient, desk: FakeDesk) -> None:
    running = {"want_l": 60.0, "given_l": 36.0, "pulse": 1, "pulses": 1, "by": "policy"}
    desk.set_bed("south", state="watering", valve="told_to_close", watering=running)
    client.post("/do/beds/south/stop")
    html = plain(client.get("/").text)
    assert "South was stopped at 11:05: 36 of 60 L. Its valve is not proved closed yet." in html
    last = {"at": desk.view()["at"], "litres": 37.0}
    desk.set_bed("south", state="drying", valve="closed", watering=None, last_watering=last)
    html = plain(client.get("/").text)
    assert "South was stopped at 11:05: 37 L. Its valve is proved closed." in html


@pytest.mark.parametrize(
    ("valve", "ago_s", "empty"),
    [
        ("closed", 299.0, False),
        ("closed", 300.0, True),
        ("open", 29.0, False),
        ("open", 31.0, True),
    ],
    ids=["still-news", "old", "still-closing", "opened-anew"],
)
def test_a_stop_is_news_for_a_while(desk: FakeDesk, valve: str, ago_s: float, empty: bool) -> None:
    desk.set_bed("south", valve=valve)
    view = desk.view()
    told = Told(bed=None, at_utc_s=0.0, mono_s=100.0)
    words = told_words(view, told, front.tongue_of(view), 100.0 + ago_s)
    assert (words == "") is empty


def test_the_master_valve_is_counted(desk: FakeDesk) -> None:
    desk.set(master="closed")
    view = desk.view()
    told = Told(bed=None, at_utc_s=0.0, mono_s=0.0)
    assert "All 5 are proved closed." in told_words(view, told, front.tongue_of(view), 1.0)


def test_a_watering_far_above_the_line_says_what_it_costs(client: TestClient) -> None:
    assert "roots shallow" in client.get("/beds/old-compost/water?how=refill").text
    assert "roots shallow" not in client.get("/beds/south/water?how=refill").text


def test_a_bed_that_comes_to_its_line_soon_is_not_called_well_above_it(
    client: TestClient, desk: FakeDesk
) -> None:
    night = {"from": "2026-07-16T05:00:00Z", "to": "2026-07-16T12:30:00Z"}  # tonight
    path = "/beds/tunnel/water?how=refill"
    assert "well above" in client.get(path).text
    desk.set_bed("tunnel", usual_night=night)
    assert "well above" not in client.get(path).text
    assert states.left_words(desk.view()["beds"]["tunnel"], front.tongue_of(desk.view())) == (
        "line in 15 h"
    )


@pytest.mark.parametrize("amount", ["", "0", "-5", "nan", "1e5", "１２", "1_000", "1000000"])
def test_a_malformed_amount_is_422(client: TestClient, desk: FakeDesk, amount: str) -> None:
    params = {"how": "litres", "litres": amount}
    assert client.get("/beds/south/water", params=params).status_code == 422
    form = {"key": key_on(client, "/"), "how": "litres", "amount": amount}
    assert client.post("/do/beds/south/water", data=form).status_code == 422
    assert desk.orders == []


def test_an_amount_with_its_unit_hears_what_a_number_looks_like(client: TestClient) -> None:
    said = client.get("/beds/south/water", params={"how": "litres", "litres": "40 L"})
    assert said.status_code == 422
    assert "must be a number such as 40 or 2.5, without a unit behind it" in said.text
    assert "Malformed" not in said.text


def test_a_decimal_comma_is_a_point(client: TestClient, desk: FakeDesk) -> None:
    form = {"key": key_on(client, "/"), "how": "minutes", "amount": "2,5"}
    assert client.post("/do/beds/south/water", data=form).status_code == 200
    assert desk.orders[0]["open_s"] == 150.0


def test_a_pause_says_who_goes_without_and_then_pauses(client: TestClient, desk: FakeDesk) -> None:
    html = client.get("/beds/south/pause?days=3").text
    assert "South gets no watering of its own until Sat 11:05." in html
    assert "South would have drunk tonight: it goes without." in html
    until = re.search(r'name="until" value="([^"]+)"', html)
    key = re.search(r'name="key" value="([^"]+)"', html)
    assert until is not None
    assert key is not None
    form = {"key": key[1], "until": until[1], "why": "away"}
    assert client.post("/do/beds/south/pause", data=form).status_code == 200
    order = desk.orders[0]
    assert (order["what"], order["bed"], order["why"]) == ("pause", "south", "away")
    assert order["until_utc_s"] == 1_784_397_900.0  # 2026-07-18T18:05:00Z


def test_a_typed_time_is_the_gardens_own(client: TestClient) -> None:
    html = client.get("/pause?until=2026-07-16T18:00").text
    assert "No bed gets any watering of its own until tomorrow 18:00." in html
    assert 'value="2026-07-17T01:00:00Z"' in html


@pytest.mark.parametrize(
    "query", ["days=2", "days=-1", "until=2026-07-15T11:05", "until=2027-07-15T11:05", "until=x"]
)
def test_a_pause_without_a_fit_end_is_422(client: TestClient, query: str) -> None:
    assert client.get(f"/beds/south/pause?{query}").status_code == 422


def test_a_refusal_is_shown_with_what_is_possible(client: TestClient, desk: FakeDesk) -> None:
    desk.answer = Answer(
        order="o",
        status="refused",
        reason="cap_spent",
        text="Only 12 L are left.",
        allowed_l=12.0,
        next_possible_utc_s=1_784_160_000.0,
    )
    form = {"key": key_on(client, "/"), "how": "refill"}
    got = client.post("/do/beds/south/water", data=form)
    html = plain(got.text)
    assert got.status_code == 409
    assert "Only 12 L are left." in html
    assert "Now up to 12 L, more from 17:00." in html


@pytest.mark.parametrize(
    ("reason", "allowed_l", "next_utc_s", "said"),
    [
        ("resting", 339.4, 1_784_160_000.0, "From 17:00, up to 339 L."),
        ("bed_cap", 0.0, 1_784_160_000.0, "Possible from 17:00."),
        ("dose_cap", 292.0, 1_784_138_700.0, "Now up to 292 L."),
        ("resting", 0.0, 1_784_160_001.0, "Possible from 17:01."),
        ("locked", 0.0, None, ""),
        ("busy", 200.0, None, ""),
    ],
)
def test_what_a_refusal_leaves_possible(
    desk: FakeDesk, reason: str, allowed_l: float, next_utc_s: float | None, said: str
) -> None:
    answer = Answer(
        order="o",
        status="refused",
        reason=reason,
        allowed_l=allowed_l,
        next_possible_utc_s=next_utc_s,
    )
    assert possible_words(answer, front.tongue_of(desk.view())) == said


def test_resuming_unlocking_and_lifting(client: TestClient, desk: FakeDesk) -> None:
    alert = {
        "id": "a1",
        "code": "burst",
        "bed": None,
        "valve": None,
        "probe": None,
        "since": None,
        "text": "Too much flow.",
        "person_needed": True,
    }
    desk.set(alerts=[alert])
    for path, more in (
        ("/do/beds/south/resume", {}),
        ("/do/resume", {}),
        ("/do/unlock", {}),
        ("/do/alerts/a1/clear", {"why": "joint mended"}),
    ):
        form = {"key": key_on(client, "/"), **more}
        assert client.post(path, data=form).status_code == 200
    assert [order["what"] for order in desk.orders] == ["resume", "resume", "unlock", "clear"]


@pytest.mark.parametrize("why", ["", "   ", "two\nlines", "x" * 201])
def test_a_lock_needs_a_why_of_one_line(client: TestClient, desk: FakeDesk, why: str) -> None:
    form = {"key": key_on(client, "/"), "why": why}
    assert client.post("/do/lock", data=form).status_code == 422
    assert desk.orders == []


def test_a_form_in_json_or_too_large_is_refused(client: TestClient, desk: FakeDesk) -> None:
    client.get("/")
    assert client.post("/do/lock", json={"why": "x"}).status_code == 415
    assert client.post("/do/lock", data={"why": "x" * 20_000}).status_code == 413
    form = b"key=a&key=b&why=x"
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    assert client.post("/do/lock", content=form, headers=kind).status_code == 422
    assert desk.orders == []


def test_what_is_not_there_is_a_page(client: TestClient) -> None:
    for path in ("/beds/nowhere/water", "/beds/nowhere/pause", "/alerts/none/clear", "/nothing"):
        got = client.get(path)
        assert got.status_code == 404
        assert got.headers["content-type"].startswith("text/html")


def test_a_bed_that_drinks_is_offered_a_stop_and_no_second_watering(
    client: TestClient, desk: FakeDesk
) -> None:
    desk.set_bed("south", state="watering", valve="open")
    for path in ("/beds/south/water", "/beds/south/water?how=litres&litres=40"):
        text = client.get(path).text
        assert "South has a watering under way. Stop it first." in text
        assert 'action="/do/beds/south/stop"' in text
        assert "Water this many" not in text
        assert "Another amount" not in text
    desk.set(link_up=False)
    desk.set_bed("south", state="held", valve="closed")
    text = client.get("/beds/south/water").text
    assert "There is no contact with the valves." in text
    assert "/do/beds/south/stop" not in text


def test_a_page_that_is_not_there_says_it_once(client: TestClient) -> None:
    got = client.get("/nix", headers={"Accept": "text/html"})
    assert got.status_code == 404
    assert got.text.count("There is no such thing here") <= 2  # heading and title of the window
    assert "The address may be typed wrongly" in got.text
