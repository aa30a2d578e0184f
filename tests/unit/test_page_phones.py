"""A second phone is let in from the page: by a paired operator alone, once, for three minutes."""

from __future__ import annotations

import html
import re

import pytest
from fastapi.testclient import TestClient

from api import code_drawing
from api.desk import FakeDesk
from api.page.phones import LIVES_S
from tests.unit.test_pairing import OWN, Place


@pytest.fixture
def place() -> Place:

    return Place(FakeDesk())


def key_on(browser: TestClient, path: str = "/phones") -> str:
    found = re.search(r'name="key" value="([^"]+)"', browser.get(path).text)
    assert found is not None
    return found[1]


def code_from(browser: TestClient, role: str = "helper", name: str = "Ann") -> str:
    form = {"key": key_on(browser), "role": role, "name": name}
    shown = browser.post("/do/phones", data=form, headers=OWN)
    assert shown.status_code == 200, shown.text
    assert shown.headers["cache-control"] == "no-store"
    link = re.search(r'class="link">([^<]+)<', shown.text)
    assert link is not None
    return html.unescape(link[1])


@pytest.mark.parametrize("role", ["helper", "operator"])
def test_the_code_lets_one_phone_in_with_the_role_that_was_chosen(place: Place, role: str) -> None:
    link = code_from(place.paired(), role, "Ann")
    second = place.browser("192.168.1.8")
    assert second.get(link).status_code == 200
    made = place.desk.orders[-1]
    assert (made["role"], made["name"]) == (role, "Ann")
    assert place.browser("192.168.1.9").get(link).status_code == 401, "once"


def test_the_code_is_short_lived(place: Place) -> None:
    link = code_from(place.paired())
    place.clock.mono_s += LIVES_S + 1.0
    assert place.browser("192.168.1.8").get(link).status_code == 401


def test_a_helper_sees_neither_page_nor_code(place: Place) -> None:
    owner, helper = place.paired(), place.paired("helper")
    assert helper.get("/phones").status_code == 403
    form = {"key": key_on(owner), "role": "operator", "name": ""}
    assert helper.post("/do/phones", data=form, headers=OWN).status_code == 403
    assert "/phones" not in helper.get("/").text
    assert 'href="/phones"' in owner.get("/").text


def test_a_browser_on_the_board_that_nobody_paired_makes_no_code(place: Place) -> None:
    local = place.browser("127.0.0.1")
    assert local.get("/").status_code == 200
    assert 'href="/phones"' not in local.get("/").text
    assert local.get("/phones").status_code == 403
    form = {"key": key_on(local, "/pause"), "role": "operator", "name": ""}
    refused = local.post("/do/phones", data=form, headers=OWN)
    assert refused.status_code == 403
    assert "thirstline pair" in refused.text


def test_a_form_of_another_page_makes_no_code(place: Place) -> None:
    owner = place.paired()
    form = {"key": key_on(owner), "role": "operator", "name": ""}
    foreign = {"Origin": "http://elsewhere.example"}
    assert owner.post("/do/phones", data=form, headers=foreign).status_code == 403
    assert owner.post("/do/phones", data=form, headers=OWN).status_code == 200
    assert owner.post("/do/phones", data=form, headers=OWN).status_code == 403, "its key is spent"


@pytest.mark.parametrize(
    "wrong",
    [{"role": "owner"}, {"role": ""}, {"name": "x" * 200}, {"name": "a\nb"}],
    ids=["unknown-role", "no-role", "long-name", "two-lines"],
)
def test_a_malformed_form_is_refused(place: Place, wrong: dict[str, str]) -> None:
    owner = place.paired()
    form = {"key": key_on(owner), "role": "helper", "name": "", **wrong}
    assert owner.post("/do/phones", data=form, headers=OWN).status_code == 422


def test_a_board_that_no_phone_reaches_shows_no_code(place: Place) -> None:
    owner = place.paired()
    place.app.state.link_base = "http://127.0.0.1:8470"
    shown = owner.get("/phones")
    assert "no phone reaches it" in shown.text
    assert "Show a code" not in shown.text
    form = {"key": key_on(owner), "role": "helper", "name": ""}
    assert owner.post("/do/phones", data=form, headers=OWN).status_code == 409


def test_who_is_in_is_listed_and_can_be_withdrawn_but_not_by_itself(place: Place) -> None:
    owner = place.paired("operator", "<b>Mine</b>")
    place.paired("helper", "Ann")
    place.paired("helper", "")
    shown = owner.get("/phones").text
    assert "&lt;b&gt;Mine&lt;/b&gt;, operator" in shown
    assert "<b>Mine" not in shown
    assert "Ann, helper, in since" in shown
    assert "Unnamed phone, helper, in since" in shown
    ids = re.findall(r'action="/do/phones/(\w+)/withdraw"', shown)
    assert len(ids) == 2, "not the one that looks"
    form = {"key": key_on(owner)}
    owner.post(f"/do/phones/{ids[0]}/withdraw", data=form, headers=OWN)
    assert place.desk.orders[-1]["pair"] == ids[0]
    form = {"key": key_on(owner)}
    assert owner.post("/do/phones/nope/withdraw", data=form, headers=OWN).status_code == 404


def test_the_drawing_has_every_module_and_its_margin() -> None:
    text = "http://garden.local:8470/open?code=abc"
    svg = str(code_drawing.svg(text, 'a "code" <b>'))
    dark = code_drawing._modules(text)
    seen = set()
    for x, y, wide in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", svg):
        seen |= {(int(x) + n, int(y)) for n in range(int(wide))}
    assert seen == {(x, y) for y, row in enumerate(dark) for x, one in enumerate(row) if one}
    assert min(min(at) for at in seen) == code_drawing.QUIET
    assert "<b>" not in svg
    assert 'fill="#fff"' in svg
