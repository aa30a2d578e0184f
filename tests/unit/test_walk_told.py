"""The walk over HTTP, on the page and from the shell."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from api import look, walk_command
from api.cli import main
from api.desk import FakeDesk
from api.http import create_app
from api.look import RefusedError
from api.walk_routes import Device
from controller.datafolder import DataFolder
from controller.effects import Answer
from controller.proving.walk_orders import DEVICES
from controller.view import picture
from tests.engine_bench import Bench
from tests.engine_garden import small_garden
from tests.unit.test_page_hand import key_on

RIGHT = "the-operators-token"
BEARER = {"Authorization": f"Bearer {RIGHT}"}


@cache
def never_walked() -> dict[str, Any]:
    """The walk of a garden that was never walked, by the real engine."""
    bench = Bench(small_garden(beds=("south", "north"), master=True, meter=True), armed=False)
    shown: dict[str, Any] = picture(bench.engine.run)["walk"]
    return shown


def walk_now(**now: Any) -> dict[str, Any]:
    """That, and what a test makes of it."""
    return {**never_walked(), **now}


ASKING = {
    "kind": "walk",
    "bed": "south",
    "test": "walk",
    "phase": "asking",
    "asks": "south",
    "left": 2,
    "text": "Did South, and only South, get wet?",
}


@pytest.fixture
def desk() -> FakeDesk:
    fake = FakeDesk(("south", "north"))
    fake.set(walk=walk_now())
    return fake


@pytest.fixture
def client(desk: FakeDesk) -> TestClient:
    return TestClient(
        create_app(desk, token=RIGHT, monotonic=lambda: 0.0),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
        headers={"Origin": "http://localhost:8470"},
        follow_redirects=False,
    )


# -- over HTTP


@pytest.mark.parametrize(
    ("method", "path", "sent", "became"),
    [
        ("POST", "walk", None, {"what": "walk", "yes": False, "bed": None}),
        ("POST", "walk", {"yes": True, "bed": "north"}, {"what": "walk", "yes": True}),
        ("DELETE", "walk", None, {"what": "walk_end"}),
        ("POST", "walk/answer", {"right": False}, {"what": "walk_answer", "yes": False}),
        (
            "POST",
            "walk/backflow",
            {"device": "double_check", "tested": "2026-04-20"},
            {"what": "walk_backflow", "device": "double_check", "on": "2026-04-20"},
        ),
    ],
)
def test_each_call_becomes_an_order_of_its_own_and_needs_a_token(
    client: TestClient, desk: FakeDesk, method: str, path: str, sent: Any, became: dict[str, Any]
) -> None:
    assert client.request(method, f"/api/{path}", json=sent).status_code == 401
    got = client.request(method, f"/api/{path}", json=sent, headers=BEARER)
    assert (got.status_code, got.json()["text"]) == (200, "Noted.")
    assert became.items() <= desk.orders[0].items()
    assert len(desk.orders) == 1


@pytest.mark.parametrize(
    ("path", "sent", "status"),
    [
        ("walk", {"yes": "please"}, 422),
        ("walk", {"bed": "attic"}, 404),
        ("walk", {"all": True}, 422),
        ("walk/answer", {}, 422),
        ("walk/answer", {"right": 1}, 422),
        ("walk/backflow", {"device": "hose"}, 422),
        ("walk/backflow", {"device": "none", "tested": "soon"}, 422),
    ],
)
def test_what_is_malformed_orders_nothing(
    client: TestClient, desk: FakeDesk, path: str, sent: Any, status: int
) -> None:
    assert client.post(f"/api/{path}", json=sent, headers=BEARER).status_code == status
    assert desk.orders == []


def test_the_walk_can_be_looked_at(client: TestClient) -> None:
    got = client.get("/api/walk").json()
    assert (got["armed"], got["now"], got["backflow"]) == (False, None, None)
    assert got["beds"]["south"]["text"] == "South has not been walked."
    assert got["proof"] == {"provable": False, "due_from": None, "last": None}


def test_the_devices_of_the_api_are_the_engines() -> None:
    assert set(Device.__args__) == set(DEVICES)


# -- on the page


def test_the_page_shows_each_valve_and_begins_a_walk(client: TestClient, desk: FakeDesk) -> None:
    assert 'href="/walk"' in client.get("/").text
    own = client.get("/walk").text
    assert "South has not been walked." in own
    assert "No bed is watered by itself before this is answered: what keeps" in own
    assert "A valve that was not walked stays shut." in own
    got = client.post("/do/walk", data={"key": key_on(client, "/walk"), "bed": "south"})
    assert got.status_code == 200
    assert {"what": "walk", "bed": "south", "yes": False}.items() <= desk.orders[0].items()


def test_a_walk_that_begins_leads_to_its_own_page(client: TestClient, desk: FakeDesk) -> None:
    desk.answer = Answer(order="o", status="accepted", reason="walking", text="The walk begins.")
    got = client.post("/do/walk", data={"key": key_on(client, "/walk")})
    assert (got.status_code, got.headers["location"]) == (303, "/walk")
    desk.answer = Answer(order="o", status="refused", reason="busy", text="Not now: a bed drinks.")
    got = client.post("/do/walk", data={"key": key_on(client, "/walk")})
    assert got.status_code == 409
    assert "Not now: a bed drinks." in got.text


@pytest.mark.parametrize("needed", [False, True], ids=["well", "another-alert"])
def test_the_front_page_asks_first_what_the_walk_asks(
    client: TestClient, desk: FakeDesk, needed: bool
) -> None:
    desk.set(walk=walk_now(now=ASKING))
    alert = {"id": "not_armed", "code": "not_armed", "bed": None, "valve": None, "probe": None}
    more = {"since": "2026-07-15T17:00:00Z", "text": "Not armed: South.", "person_needed": True}
    desk.set(alerts=[{**alert, **more}] if needed else [])
    html = client.get("/").text
    top = html[: html.index('class="beds"')]
    assert '<p class="verdict">Look here:</p>' in top
    assert "<strong>The walk</strong> waits for your answer." in top
    assert "Nothing for you to do" not in html
    assert "All is well" not in html
    assert "Did South, and only South, get wet?" in top
    form = top[top.index('action="/do/walk/answer"') :]
    assert re.findall(r'name="right" value="(yes|no)"', form) == ["yes", "no"]
    assert 'name="bed" value="south"' in form
    assert 'href="/walk"' in top
    card = html[html.index(">South</h2>") :]
    assert card[card.index('class="state"') :].startswith('class="state">Being walked<')
    assert html.count("Being walked") == 1


def test_a_walk_on_its_way_is_no_watering(client: TestClient, desk: FakeDesk) -> None:
    open_now = {**ASKING, "phase": "opening", "asks": None, "text": "South is open: look."}
    desk.set_bed("south", valve="open")
    desk.set(walk=walk_now(now=open_now))
    html = client.get("/").text
    assert "<strong>The valves are walked</strong>: South now." in html
    assert "drinks now" not in html
    assert "All is well" not in html
    assert '<p class="reason">South is open: look.</p>' in html
    assert 'data-open="1"' in html
    assert "/do/walk/answer" not in html


@pytest.mark.parametrize("how", ["walk", "water", "seen"])
def test_a_stop_is_said_no_more_once_something_was_opened_on_purpose(
    client: TestClient, desk: FakeDesk, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    now_s = [0.0]
    monkeypatch.setattr("time.monotonic", lambda: now_s[0])
    assert client.post("/do/stop", data={"key": key_on(client, "/")}).status_code == 303
    desk.set_bed("south", valve="told_to_close")
    now_s[0] = 60.0
    assert "not yet: South" in client.get("/").text
    match how:
        case "walk":
            desk.answer = Answer(order="o", status="accepted", reason="walking")
            client.post("/do/walk", data={"key": key_on(client, "/walk")})
        case "water":
            form = {"key": key_on(client, "/walk"), "how": "litres", "amount": "9"}
            client.post("/do/beds/south/water", data=form)
        case _:
            desk.set_bed("south", valve="open")
            assert "told to close at" not in client.get("/").text
            desk.set_bed("south", valve="told_to_close")
    assert "told to close at" not in client.get("/").text


def test_silence_names_a_way_on_the_page() -> None:
    bench = Bench(small_garden(beds=("south",), master=True, meter=True), armed=False)
    bench.live(300.0)
    assert bench.order("walk", None, yes=False) is not None
    proving = bench.engine.state.proving
    for _ in range(90):
        bench.live(60.0)
        if proving.active is None:
            break
    assert proving.active is None
    assert proving.said.startswith("Nobody answered for a quarter of an hour.")
    assert "Valves… on the page" in proving.said


def test_the_page_of_a_trial_says_that_beds_drink_without_a_walk(
    client: TestClient, desk: FakeDesk
) -> None:
    desk.set(walk=walk_now(needed=False))
    own = client.get("/walk").text
    assert "This is a trial: beds drink without a walk" in own
    assert "A valve that was not walked stays shut" not in own
    assert "No bed is watered by itself" not in own


def test_the_page_asks_what_the_walk_asks(client: TestClient, desk: FakeDesk) -> None:
    desk.set(walk=walk_now(now=ASKING))
    own = client.get("/walk").text
    assert "Did South, and only South, get wet?" in own
    assert "refresh" not in own
    form = {"key": key_on(client, "/walk"), "bed": "south", "right": "no"}
    got = client.post("/do/walk/answer", data=form)
    assert (got.status_code, got.headers["location"]) == (303, "/walk")
    assert {"what": "walk_answer", "bed": "south", "yes": False}.items() <= desk.orders[0].items()
    assert client.post("/do/walk/answer", data=form).status_code == 403
    again = {"key": key_on(client, "/walk"), "bed": "south", "right": "maybe"}
    assert client.post("/do/walk/answer", data=again).status_code == 422
    assert len(desk.orders) == 1


def test_the_page_takes_the_backflow_answer_and_the_end(client: TestClient, desk: FakeDesk) -> None:
    desk.set(walk=walk_now(now={**ASKING, "phase": "opening", "asks": None, "text": "Open."}))
    assert "refresh" in client.get("/walk").text
    for path, fields in (
        ("backflow", {"device": "air_gap", "tested": ""}),
        ("end", {}),
    ):
        form = {"key": key_on(client, "/walk"), **fields}
        assert client.post(f"/do/walk/{path}", data=form).status_code == 200
    assert [order["what"] for order in desk.orders] == ["walk_backflow", "walk_end"]
    assert desk.orders[0]["device"] == "air_gap"


# -- from the shell


class Daemon:
    """A running daemon as the command sees it: pictures in order, and what was sent."""

    def __init__(self, *walks: dict[str, Any]) -> None:
        self.walks = list(walks)
        self.sent: list[tuple[str, dict[str, object]]] = []

    def garden_now(self, folder: DataFolder) -> dict[str, Any]:
        del folder
        last = self.walks.pop(0) if len(self.walks) > 1 else self.walks[0]
        return {"ready": True, "walk": last}

    def take(self, folder: DataFolder, path: str, body: dict[str, object]) -> dict[str, Any]:
        del folder
        self.sent.append((path, body))
        return {"text": f"{path} taken."}


def shell(
    daemon: Daemon, monkeypatch: pytest.MonkeyPatch, place: Path, *words: str, typed: str = ""
) -> Any:
    monkeypatch.setattr(look, "garden_now", daemon.garden_now)
    monkeypatch.setattr(look, "sent", daemon.take)
    monkeypatch.setattr(walk_command, "POLL_S", 0.0)
    command = ["walk", "hollin-lane", "--data", str(place), *words]
    return CliRunner().invoke(main, command, input=typed)


def done(*, armed: bool = True) -> dict[str, Any]:
    verdict = "ok" if armed else "apart"
    beds = {"south": {"armed": armed, "verdict": verdict, "text": "South was looked at."}}
    return walk_now(beds=beds, said="The end.", armed=armed, backflow={"text": "An air gap."})


def test_the_command_asks_and_passes_answers_on(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    daemon = Daemon(walk_now(), walk_now(), walk_now(now=ASKING), done())
    said = shell(daemon, monkeypatch, tmp_path, typed="reduced_pressure\n2026-04-20\ny\n")
    assert said.exit_code == 0, said.output
    assert daemon.sent == [
        ("walk/backflow", {"device": "reduced_pressure", "tested": "2026-04-20"}),
        ("walk", {"yes": False}),
        ("walk/answer", {"right": True, "bed": "south"}),
    ]
    assert "South was looked at." in said.output
    assert "The end." in said.output


def test_the_command_with_yes_asks_nothing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    daemon = Daemon(walk_now(), done())
    said = shell(daemon, monkeypatch, tmp_path, "--yes", "--bed", "south")
    assert said.exit_code == 0, said.output
    assert daemon.sent == [("walk", {"yes": True, "bed": "south"})]


def test_a_valve_that_is_not_armed_in_the_end_is_status_1(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    said = shell(Daemon(walk_now(), done(armed=False)), monkeypatch, tmp_path, "--yes")
    assert said.exit_code == 1


def test_json_needs_yes_and_a_refusal_is_status_1(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    assert shell(Daemon(done()), monkeypatch, tmp_path, "--json").exit_code == 2
    daemon = Daemon(done())

    def refuse(*_: object) -> dict[str, Any]:
        raise RefusedError("Not now: a bed drinks.")

    daemon.take = refuse  # type: ignore[method-assign]
    said = shell(daemon, monkeypatch, tmp_path, "--yes")
    assert (said.exit_code, "a bed drinks" in said.output) == (1, True)


def test_without_a_daemon_it_is_status_3(tmp_path: Path) -> None:
    said = CliRunner().invoke(main, ["walk", "hollin-lane", "--data", str(tmp_path), "--yes"])
    assert said.exit_code == 3
