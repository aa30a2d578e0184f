"""Soil and leaves on the page and from the shell: forms without a script, words for people."""

from __future__ import annotations

import io
import json
import re
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from api import look
from api.cli import main
from api.desk import FakeDesk
from api.http import create_app
from api.page import felt
from controller.datafolder import DataFolder
from controller.effects import Answer

RIGHT = "the-operators-token"
FELT = {"feel": "just_moist", "depth_cm": 20.0, "at": "2026-07-15T14:30:00Z"}
LOOKS = {
    "looks": 4,
    "shift_frac": -0.03,
    "text": "By your 4 looks this bed uses 3 % less of its water before it drinks.",
}


@pytest.fixture
def desk() -> FakeDesk:
    return FakeDesk()


@pytest.fixture
def client(desk: FakeDesk) -> TestClient:
    return TestClient(
        create_app(desk, token=RIGHT, monotonic=lambda: 0.0),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
        headers={"Origin": "http://localhost:8470"},
        follow_redirects=False,
    )


def key_on(client: TestClient, path: str = "/beds/south/hand") -> str:
    found = re.search(r'name="key" value="([^"]+)"', client.get(path).text)
    assert found is not None
    return found[1]


@pytest.mark.parametrize(
    ("path", "fields", "became"),
    [
        (
            "soil",
            {"feel": "dry", "depth": "20,5"},
            {"what": "soil", "feel": "dry", "depth_cm": 20.5},
        ),
        (
            "look",
            {"leaves": "2", "when": "morning"},
            {"what": "look", "leaves": 2, "when": "morning"},
        ),
        ("look", {"leaves": "2", "when": "now"}, {"what": "look", "leaves": 2, "when": ""}),
        ("look/forget", {}, {"what": "forget_looks"}),
    ],
    ids=["soil", "look", "look-now", "forget"],
)
def test_a_form_tells_and_its_key_works_once(
    client: TestClient,
    desk: FakeDesk,
    path: str,
    fields: dict[str, str],
    became: dict[str, Any],
) -> None:
    desk.answer = Answer(order="o", status="accepted", text="South was felt dry.")
    form = {"key": key_on(client), **fields}
    got = client.post(f"/do/beds/south/{path}", data=form)
    assert got.status_code == 200
    assert "South was felt dry." in got.text
    assert {"bed": "south", **became}.items() <= desk.orders[0].items()
    assert client.post(f"/do/beds/south/{path}", data=form).status_code == 403
    assert len(desk.orders) == 1


def test_the_soil_is_told_in_one_tap_at_any_depth_that_is_offered(
    client: TestClient, desk: FakeDesk
) -> None:
    page = client.get("/beds/south/hand").text
    form = page[page.index("/beds/south/soil") :]
    form = form[: form.index("</form>")]
    taps = re.findall(r'<button class="[^"]+" name="feel" value="([a-z_]+)">([^<]+)<', form)
    assert taps == [("dry", "Dry"), ("just_moist", "Just moist"), ("wet", "Wet")]
    assert '<input type="radio"' not in form, "nothing to choose before the tap"
    assert "selected>20<" in form
    for depth in re.findall(r"<option[^>]*>([0-9]+)<", form):
        told = {"key": key_on(client), "feel": "wet", "depth": depth}
        assert client.post("/do/beds/south/soil", data=told).status_code == 200
        assert desk.orders[-1]["depth_cm"] == float(depth)
    assert len(desk.orders) == 6


@pytest.mark.parametrize(
    ("hour", "offered"),
    [
        (7, [("now", "just now, in the morning"), ("midday", "at midday")]),
        (9, [("now", "just now, in the morning"), ("midday", "at midday")]),
        (10, [("now", "just now, at midday"), ("morning", "this morning, before 10:00")]),
        (16, [("now", "just now, at midday"), ("morning", "this morning, before 10:00")]),
        (17, [("now", "just now, in the evening"), ("morning", "this morning, before 10:00")]),
    ],
)
def test_leaves_are_offered_as_seen_now_by_the_gardens_clock(
    client: TestClient, desk: FakeDesk, hour: int, offered: list[tuple[str, str]]
) -> None:
    desk.set(at=f"2026-07-15T{(hour + 7) % 24:02d}:50:00Z")  # the garden's clock is 7 h behind
    form = client.get("/beds/south/hand").text.split('name="when">')[1].split("</select>")[0]
    assert re.findall(r'<option value="([a-z]+)">([^<]+)<', form) == offered, "the first is chosen"


@pytest.mark.parametrize("worth", [True, False])
def test_a_bed_near_its_line_asks_for_a_look(
    client: TestClient, desk: FakeDesk, worth: bool
) -> None:
    desk.set_bed("south", looks={**LOOKS, "worth": worth}, felt=None)
    said = "It is near its line or past it: a look at its leaves in the morning tells most now."
    assert (said in client.get("/beds/south/hand").text) is worth
    assert (said in look.why("south", desk.view())) is worth


@pytest.mark.parametrize("role", ["operator", "helper"])
def test_helper_and_grower_tell_the_soil_alike(desk: FakeDesk, role: str) -> None:
    app = create_app(desk, token=RIGHT, names=["plot.local"], monotonic=lambda: 0.0)
    base = "http://plot.local:8470"
    phone = TestClient(app, base_url=base, client=("192.168.1.7", 5), headers={"Origin": base})
    assert phone.get(f"/open?code={app.state.issue_code(role, 'Ann')}").status_code == 200
    told = {"key": key_on(phone), "feel": "just_moist", "depth": "30"}
    assert phone.post("/do/beds/south/soil", data=told).status_code == 200
    last = desk.orders[-1]
    assert (last["what"], last["feel"], last["depth_cm"]) == ("soil", "just_moist", 30.0)
    assert last["who"].startswith(role)
    assert last["who"].endswith("(Ann)")


@pytest.mark.parametrize(
    ("path", "fields"),
    [
        ("soil", {"feel": "damp", "depth": "20"}),
        ("soil", {"feel": "dry", "depth": "0"}),
        ("soil", {"feel": "dry", "depth": "101"}),
        ("soil", {"feel": "dry"}),
        ("look", {"leaves": "3", "when": "morning"}),
        ("look", {"leaves": "1"}),
    ],
)
def test_what_is_no_feel_and_no_look_is_refused(
    client: TestClient, desk: FakeDesk, path: str, fields: dict[str, str]
) -> None:
    got = client.post(f"/do/beds/south/{path}", data={"key": key_on(client), **fields})
    assert got.status_code == 422
    assert desk.orders == []


def test_a_form_without_a_key_tells_nothing(client: TestClient, desk: FakeDesk) -> None:
    client.get("/")
    form = {"key": "", "feel": "dry", "depth": "20"}
    assert client.post("/do/beds/south/soil", data=form).status_code == 403
    assert desk.orders == []


def test_the_front_page_leads_to_it_and_shows_what_was_told(
    client: TestClient, desk: FakeDesk
) -> None:
    assert 'href="/beds/south/hand"' in client.get("/").text
    assert "felt by hand" not in client.get("/").text
    desk.set_bed("south", felt=FELT, looks=LOOKS)
    front = client.get("/").text
    assert "felt by hand" in front
    assert "just moist at 20 cm" in front
    assert "By your 4 looks" in front
    own = client.get("/beds/south/hand").text
    assert "Felt last: just moist at 20 cm" in own
    assert "Forget the looks" in own


def test_a_bed_that_nobody_looked_at_has_no_looks_to_forget(client: TestClient) -> None:
    assert "Forget the looks" not in client.get("/beds/south/hand").text


def test_an_unknown_bed_has_no_page(client: TestClient) -> None:
    assert client.get("/beds/attic/hand").status_code == 404


def test_why_says_what_was_felt_seen_and_followed(desk: FakeDesk) -> None:
    desk.set_bed("south", felt=FELT, looks=LOOKS, follows="wall-side", quality="ok")
    said = look.why("south", desk.view())
    assert "Felt by hand: just moist at 20 cm" in said
    assert LOOKS["text"] in said
    assert "It has no probe of its own and follows Wall side." in said
    assert "Its probes speak." not in said


def test_the_card_says_which_bed_it_follows(desk: FakeDesk, client: TestClient) -> None:
    desk.set_bed("south", follows="wall-side")
    found = re.search(r"<th[^>]*>follows</th><td>([^<]*)", client.get("/").text)
    assert found is not None
    assert found[1] == "Wall side"
    assert felt.follows_words({}) == ""


# -- from the shell


@pytest.fixture
def kept(tmp_path: Path) -> DataFolder:
    folder = DataFolder(tmp_path)
    folder.write_daemon_json("http://127.0.0.1:1", 1)
    return folder


class Replies:
    """Stands in for the network: keeps what was sent, answers as told."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, reply: bytes, status: int = 200) -> None:
        self.sent: list[urllib.request.Request] = []
        self.reply, self.status = reply, status
        monkeypatch.setattr(urllib.request, "urlopen", self.open)

    def open(self, request: urllib.request.Request, timeout: float) -> io.BytesIO:
        del timeout
        if request.full_url.endswith("/api/garden"):  # its units are asked before
            return io.BytesIO(self.reply)
        self.sent.append(request)
        body = io.BytesIO(self.reply)
        if self.status != 200:
            raise urllib.error.HTTPError(request.full_url, self.status, "no", {}, body)  # type: ignore[arg-type]
        return body


@pytest.mark.parametrize(
    ("words", "path", "body"),
    [
        (["soil", "south", "dry"], "soil", {"feel": "dry", "depth_cm": 20.0}),
        (["soil", "south", "wet", "--depth", "35"], "soil", {"feel": "wet", "depth_cm": 35.0}),
        (["look", "south", "rolled"], "look", {"leaves": 1}),
        (
            ["look", "south", "limp", "--when", "midday"],
            "look",
            {"leaves": 2, "when": "midday"},
        ),
    ],
)
def test_record_tells_the_daemon(
    kept: DataFolder,
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    path: str,
    body: dict[str, Any],
) -> None:
    replies = Replies(monkeypatch, b'{"text": "Noted."}')
    said = CliRunner().invoke(main, ["record", *words, "--data", str(kept.path)])
    assert (said.exit_code, said.output.splitlines()[0]) == (0, "Noted.")
    (sent,) = replies.sent
    assert sent.full_url == f"http://127.0.0.1:1/api/beds/south/{path}"
    assert sent.get_method() == "POST"
    assert json.loads(sent.data or b"") == body  # type: ignore[arg-type]
    assert sent.headers["Authorization"] == f"Bearer {kept.token()}"


def test_a_refusal_is_said_and_ends_with_no(
    kept: DataFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    Replies(monkeypatch, b'{"detail": "There is no such bed."}', 404)
    said = CliRunner().invoke(main, ["record", "soil", "x", "dry", "--data", str(kept.path)])
    assert said.exit_code == 1
    then = f"next:  thirstline status --data {kept.path}"
    assert said.stderr == f"There is no such bed.\n{then}\n"


def test_without_a_daemon_it_cannot_be_told(tmp_path: Path) -> None:
    said = CliRunner().invoke(main, ["record", "soil", "x", "dry", "--data", str(tmp_path)])
    assert said.exit_code == 3
