"""Who may come in besides the token: paired browsers, their roles, their hashes; and the pace."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from api import pace
from api.desk import FakeDesk
from api.http import create_app
from api.page import routes as page_routes
from api.pair_command import words
from api.pair_routes import link_base
from api.roles import HELPER_MAY
from controller.datafolder import DataFolder
from controller.effects import Answer
from controller.engine import Engine
from controller.events import Order, OrderKind
from controller.holds import carry_holds
from controller.run import VERSION
from controller.store import Store
from controller.telling.pair_orders import PAIR_S, PAIRS_MOST, holding
from controller.trusted import ClockStamp
from tests.desk_bench import EngineDesk
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

RIGHT = "the-operators-token"
BEARER = {"Authorization": f"Bearer {RIGHT}"}
BASE = "http://thirstline.local:8470"
OWN = {"Origin": BASE}
NAMES = ["thirstline.local"]


class Clock:
    def __init__(self) -> None:
        self.mono_s = 1000.0

    def __call__(self) -> float:
        return self.mono_s


class Place:
    """An app over a desk, and browsers before it."""

    def __init__(self, desk: Any) -> None:
        self.desk = desk
        self.clock = Clock()
        self.app = create_app(desk, token=RIGHT, names=NAMES, monotonic=self.clock)
        self.app.state.link_base = BASE

    def browser(self, address: str = "192.168.1.7", base: str = BASE) -> TestClient:
        return TestClient(self.app, base_url=base, client=(address, 50000))

    def shell(self) -> TestClient:
        """What `thirstline pair` is to the daemon."""
        return TestClient(
            self.app, base_url="http://127.0.0.1", client=("127.0.0.1", 1), headers=BEARER
        )

    def link(self, role: str = "operator", name: str = "") -> str:
        got = self.shell().post("/api/pairs", json={"role": role, "name": name})
        assert got.status_code == 200
        return str(got.json()["link"])

    def paired(self, role: str = "operator", name: str = "", **where: str) -> TestClient:
        browser = self.browser(**where)
        assert browser.get(self.link(role, name)).status_code == 200
        return browser


@pytest.fixture
def place() -> Place:
    return Place(FakeDesk())


# -- the code


def test_a_link_lets_one_browser_in_once(place: Place) -> None:
    link = place.link("helper", "Ann's phone")
    assert re.fullmatch(BASE + r"/open\?code=[\w-]{22}", link), "128 bits"
    first, second = place.browser(), place.browser("192.168.1.8")
    assert first.get(link).status_code == 200
    assert first.get("/api/garden").status_code == 200
    assert second.get(link).status_code == 401
    assert second.get("/api/garden").status_code == 401


def test_a_code_is_forgotten_after_ten_minutes(place: Place) -> None:
    link = place.link()
    place.clock.mono_s += 601.0
    assert place.browser().get(link).status_code == 401


def test_the_cookie_is_for_this_page_alone(place: Place) -> None:
    got = place.browser().get(place.link()).headers["set-cookie"].lower()
    assert "httponly" in got
    assert "samesite=strict" in got
    assert "secure" not in got, "plain http: a Secure cookie would be dropped"
    over_tls = place.browser(base="https://thirstline.local")
    link = place.link().replace(BASE, "https://thirstline.local")
    assert "; secure" in over_tls.get(link).headers["set-cookie"].lower()


@pytest.mark.hazard("N1")
def test_only_the_token_itself_makes_codes(place: Place) -> None:
    body = {"role": "operator"}
    assert place.paired().post("/api/pairs", json=body, headers=OWN).status_code == 403
    assert place.browser().post("/api/pairs", json=body).status_code == 401
    here = place.browser("127.0.0.1", "http://localhost:8470")
    here.get("/")
    assert here.post("/api/pairs", json=body).status_code == 401


def test_a_malformed_pairing_is_422(place: Place) -> None:
    for body in ({"role": "owner"}, {"name": "x" * 41}, {"name": "a\nb"}, {"x": 1}):
        assert place.shell().post("/api/pairs", json=body).status_code == 422


def test_a_refused_pairing_gives_no_cookie(place: Place) -> None:
    link = place.link()
    place.desk.answer = Answer(order="o", status="refused", text="32 browsers are paired.")
    browser = place.browser()
    assert browser.get(link).status_code == 409
    assert not browser.cookies


def test_a_pairing_that_cannot_be_recorded_holds_until_a_restart(place: Place) -> None:
    link = place.link()
    place.desk.answer = Answer(order="o", status="unrecorded", text="x")
    assert "thirstline" in place.browser().get(link).cookies


# -- listed and withdrawn


def test_pairings_are_listed_without_what_they_hold(place: Place) -> None:
    browser = place.paired("helper", "Ann's phone")
    got = place.shell().get("/api/pairs")
    (one,) = got.json()["pairs"]
    assert (one["role"], one["name"]) == ("helper", "Ann's phone")
    assert one.keys() == {"id", "role", "name", "since"}
    secret = str(browser.cookies["thirstline"]).split(".")[1]
    assert secret not in got.text


@pytest.mark.hazard("N1")
def test_a_withdrawn_browser_is_out_at_once(place: Place) -> None:
    browser, other = place.paired(), place.paired("helper")
    pair = place.shell().get("/api/pairs").json()["pairs"][0]["id"]
    assert place.shell().delete(f"/api/pairs/{pair}").status_code == 200
    assert browser.get("/api/garden").status_code == 401
    assert browser.put("/api/lock", json={"why": "x"}, headers=OWN).status_code == 401
    assert browser.post("/do/stop", headers=OWN).status_code == 401
    assert other.get("/api/garden").status_code == 200
    assert place.shell().delete(f"/api/pairs/{pair}").status_code == 404


def test_who_is_withdrawn_is_named() -> None:
    place = Place(EngineDesk(small_garden()))
    place.paired("helper", "Ann's phone")
    pair = place.shell().get("/api/pairs").json()["pairs"][0]["id"]
    assert "Let in no more: Ann's phone (" in place.shell().delete(f"/api/pairs/{pair}").text


def test_a_browser_that_was_not_let_in_hears_how_it_comes_in(place: Place) -> None:
    said = place.browser().get("/season").text
    assert "This browser was not let in" in said
    assert "thirstline pair" in said


def test_an_id_that_is_none_is_refused(place: Place) -> None:
    for pair in ("x", "0badcafe0", "..", "0BADCAFE"):
        assert place.shell().delete(f"/api/pairs/{pair}").status_code in {404, 405, 422}


# -- roles


def _path(template: str) -> str:
    return (
        template.replace("{bed}", "south").replace("{alert}", "leak").replace("{pair}", "0badcafe")
    )


def every_write() -> list[tuple[str, str]]:
    """Every call and form that changes something, those of others' modules too."""
    described = create_app(FakeDesk(), token=RIGHT).openapi()["paths"]
    calls = [(m.upper(), path) for path, ms in described.items() for m in ms if m != "get"]
    forms = [
        (method, route.path)
        for route in page_routes().routes
        if isinstance(route, APIRoute)
        for method in sorted(route.methods - {"GET"})
    ]
    return [*calls, *forms]


WRITES = every_write()


@pytest.mark.hazard("N1")
def test_every_write_is_known_to_this_test() -> None:
    assert len(WRITES) > 55
    assert set(WRITES) >= HELPER_MAY, "no permission for what is not there"


@pytest.mark.hazard("N1")
def test_a_helper_may_what_is_listed_and_nothing_else(place: Place) -> None:
    browser = place.paired("helper")
    place.desk.orders.clear()
    for method, path in WRITES:
        place.clock.mono_s += 10.0
        sent = {"data": {"key": "none"}} if path.startswith("/do/") else {"json": {"nothing": 1}}
        got = browser.request(method, _path(path), headers=OWN, **sent)
        allowed = (method, path) in HELPER_MAY
        refused = got.status_code == 403 and "helper" in got.text
        assert refused is not allowed, f"{method} {path}: {got.status_code}"
    assert place.desk.orders == []


def test_the_table_of_the_readme_says_what_a_helper_may() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    table = readme.partition("| may | by | operator | helper |")[2].partition("\n\n")[0]
    rows = [[cell.strip() for cell in row.strip("|").split("|")] for row in table.split("\n")[2:]]
    told = {
        (call.split()[0], call.split()[1]): row[3] == "yes"
        for row in rows
        for call in re.findall(r"`((?:PUT|POST|DELETE) [^`]+)`", row[1])
    }
    assert {call for call, yes in told.items() if yes} == {
        (method, path) for method, path in HELPER_MAY if path.startswith("/api/")
    }
    assert set(told) <= set(WRITES)
    assert ["every other write", "yes", "no"] in [row[1:] for row in rows]


HELPS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("POST", "/api/beds/south/look", {"leaves": 1, "when": "morning"}),
    ("POST", "/api/beds/south/soil", {"feel": "dry", "depth_cm": 20}),
    ("POST", "/api/beds/south/stop", {}),
    ("POST", "/api/stop", {}),
    ("PUT", "/api/beds/south/pause", {"until": "2026-07-20T00:00:00Z"}),
    ("PUT", "/api/pause", {"until": "2026-07-20T00:00:00Z"}),
    ("POST", "/api/beds/south/poured", {"litres": 20}),
)


def test_what_a_helper_does_is_logged_with_who(place: Place) -> None:
    browser = place.paired("helper", "Ann")
    (pair,) = place.desk.paired
    for method, path, body in HELPS:
        assert browser.request(method, path, json=body, headers=OWN).status_code == 200
        who = place.desk.stops[-1][1] if path.endswith("stop") else place.desk.orders[-1]["who"]
        assert who == f"helper {pair} (Ann)"
    assert (len(place.desk.orders), len(place.desk.stops)) == (1 + 5, 2), "the pairing and these"


def test_a_helper_may_look(place: Place) -> None:
    browser = place.paired("helper")
    for path in ("/", "/api/garden", "/api/log", "/api/beds/south/history"):
        assert browser.get(path).status_code == 200


def test_a_helper_is_told_at_once_that_telling_may_bring_water(place: Place) -> None:
    shown = place.browser().get(place.link("helper", "Ann")).text
    assert "may make the garden water that bed by itself" in shown
    assert "You order no water" not in place.browser().get(place.link("operator", "Ben")).text


def test_a_helper_may_not_see_who_is_in(place: Place) -> None:
    assert place.paired("helper").get("/api/pairs").status_code == 403
    assert place.paired("operator").get("/api/pairs").status_code == 200


def test_a_helper_orders_nothing_for_a_page_of_somebody_elses(place: Place) -> None:
    browser = place.paired("helper")
    foreign = {"Origin": "http://evil.example"}
    assert browser.post("/api/stop", headers=foreign).status_code == 403
    assert place.desk.stops == []


# -- kept as a hash, over restarts


def test_a_pairing_rides_on_the_engines_state() -> None:
    place = Place(EngineDesk(small_garden()))
    browser = place.paired("helper", "Ann")
    bench: Bench = place.desk.bench
    secret = str(browser.cookies["thirstline"]).split(".")[1]
    dump = bench.engine.dump()
    assert secret.encode() not in dump
    assert not any(secret in repr(event) for event in bench.events)
    assert Engine.load(dump).state.pairs == bench.engine.state.pairs
    bench.restart(60.0)
    assert browser.get("/api/garden").status_code == 200
    note = next(note for note in bench.notes("order") if "let in" in note.text)
    assert note.durable
    assert note.text.startswith("opened link: Ann is let in as helper (")


def test_nothing_of_a_cookie_is_in_the_database(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path / "data")
    store = Store.open(folder)
    stamp = ClockStamp(boot_id="b", mono_s=0.0, utc_s=1.8e9, synced=True, trusted_s=0.0)
    place = Place(EngineDesk(small_garden()))
    browser = place.paired("operator", "kitchen")
    secret = str(browser.cookies["thirstline"]).split(".")[1]
    bench: Bench = place.desk.bench
    orders = [event for event in bench.events if isinstance(event, Order)]
    for order in orders:
        store.commit(order, [], durable=True, stamp=stamp)
    store.save_snapshot(VERSION, bench.engine.dump().decode())
    told = "".join(map(repr, store.journal())) + str(store.newest_snapshot().state_json)
    store.close()
    folder.unlock()
    files = b"".join(path.read_bytes() for path in folder.path.iterdir() if "db" in path.name)
    kept = files + told.encode()  # the journal and the states lie there packed
    digest = next(iter(bench.engine.state.pairs.values())).secret_sha256
    assert digest.encode() in kept
    assert secret.encode() not in kept


def test_pairings_go_over_to_another_version() -> None:
    bench = Bench(small_garden())
    _pair(bench, 1)
    old = json.loads(bench.engine.dump())
    later = Order(
        at_utc_s=0.0, mono_s=0.0, order="o", what=OrderKind.UNPAIR, who="x", pair="00000001"
    )
    engine = Engine(small_garden())
    carry_holds(engine.run, json.dumps(old), [])
    assert engine.state.pairs == bench.engine.state.pairs
    carry_holds(engine.run, json.dumps(old), [later])
    assert engine.state.pairs == {}
    carry_holds(engine.run, json.dumps({**old, "pairs": {"x": 1}}), [])
    assert engine.state.pairs == {}


def _pair(bench: Bench, number: int, **more: Any) -> Answer:
    told = {"pair": f"{number:08x}", "role": "helper", "secret_sha256": f"{number:064x}", **more}
    answer = bench.order("pair", **told)
    assert answer is not None
    return answer


def test_pairings_are_few_and_end_with_the_season() -> None:
    bench = Bench(small_garden())
    for number in range(PAIRS_MOST):
        assert _pair(bench, number).status == "accepted"
    assert _pair(bench, 99).status == "refused"
    bench.engine.state.trusted_base_s += PAIR_S
    assert holding(bench.engine.run) == {}
    assert _pair(bench, 99).status == "accepted"
    assert len(bench.engine.state.pairs) == 1


@pytest.mark.parametrize(
    "more",
    [{"pair": "x"}, {"role": "owner"}, {"secret_sha256": "plain"}, {"name": "x" * 41}],
)
def test_the_engine_keeps_no_malformed_pairing(more: dict[str, str]) -> None:
    bench = Bench(small_garden())
    assert _pair(bench, 1, **more).status == "invalid"
    assert bench.engine.state.pairs == {}


def test_an_id_is_never_given_twice() -> None:
    bench = Bench(small_garden())
    assert _pair(bench, 1).status == "accepted"
    assert _pair(bench, 1, role="operator").status == "invalid"
    assert bench.engine.state.pairs["00000001"].role == "helper"


# -- tries and pace


@pytest.mark.hazard("N1")
@pytest.mark.parametrize("guesses", [60, pytest.param(1000, marks=pytest.mark.slow)])
def test_guesses_get_nowhere_and_are_logged(
    place: Place, caplog: pytest.LogCaptureFixture, guesses: int
) -> None:
    browser = place.browser()
    got = []
    for number in range(guesses // 2):
        place.clock.mono_s += 55.0 / guesses
        wrong = {"Authorization": f"Bearer guess-{number}"}
        got.append(browser.get("/api/garden", headers=wrong).status_code)
        got.append(browser.get(f"/open?code=guess-{number}").status_code)
    assert set(got) == {401, 429}
    assert got.count(401) == 5, "five a minute"
    assert "192.168.1.7" in caplog.text
    assert "guess" not in caplog.text


@pytest.mark.hazard("N1")
def test_a_thief_with_the_token_is_held_to_a_pace_and_stops_are_not(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert pace.ORDERS_MOST >= 500, "what a test bench may send at once"
    monkeypatch.setattr(pace, "ORDERS_MOST", 20)
    thief = place.browser("192.168.1.66")
    codes = [
        thief.post("/api/beds/south/water", json={"litres": 1}, headers=BEARER).status_code
        for _ in range(25)
    ]
    assert codes == [202] * 20 + [429] * 5
    assert thief.post("/api/stop", headers=BEARER).status_code == 200
    assert thief.post("/api/beds/south/stop", headers=BEARER).status_code == 200
    other = place.browser("192.168.1.5")
    sent = {"json": {"litres": 1}, "headers": BEARER}
    assert other.post("/api/beds/south/water", **sent).status_code == 202
    place.clock.mono_s += 5.0
    again = [thief.post("/api/beds/south/water", **sent).status_code for _ in range(7)]
    assert again == [202] * 5 + [429] * 2


@pytest.mark.parametrize("helpers_address", ["192.168.1.5", "2001:db8::7"])
def test_a_helpers_many_orders_leave_the_operator_his(
    place: Place, monkeypatch: pytest.MonkeyPatch, helpers_address: str
) -> None:
    """From the same house, and a helper gets no more of them by changing his address."""
    monkeypatch.setattr(pace, "ORDERS_MOST", 20)
    helper = place.paired("helper", "Ann", address=helpers_address)
    body = {"feel": "dry", "depth_cm": 20}
    sent: dict[str, Any] = {"json": body, "headers": OWN}
    codes = [helper.post("/api/beds/south/soil", **sent).status_code for _ in range(25)]
    assert codes == [200] * 20 + [429] * 5
    moved = place.browser("2001:db8:7::1")
    moved.cookies = helper.cookies
    assert moved.post("/api/beds/south/soil", **sent).status_code == 429
    assert helper.post("/api/stop", headers=OWN).status_code == 200
    operator = place.browser(helpers_address)
    got = operator.post("/api/beds/south/water", json={"litres": 1}, headers=BEARER)
    assert got.status_code == 202


# -- in words


@pytest.mark.parametrize(
    ("url", "names", "loopback", "base"),
    [
        ("http://127.0.0.1:8470", ("thirstline.local",), True, "http://127.0.0.1:8470"),
        ("http://192.168.1.5:8470", ("thirstline.local",), False, "http://thirstline.local:8470"),
        ("http://0.0.0.0:8470", ("plot.example:80",), False, "http://plot.example:80"),
        ("http://[::]:8470", ("fd00::5",), False, "http://[fd00::5]:8470"),
        ("http://192.168.1.5:8470", (), False, "http://192.168.1.5:8470"),
    ],
)
def test_the_link_is_one_that_a_phone_can_open(
    url: str, names: tuple[str, ...], loopback: bool, base: str
) -> None:
    assert link_base(url, names, loopback_only=loopback) == base


def test_the_command_says_what_it_got() -> None:
    here = words({"link": "http://127.0.0.1:1/open?code=x", "text": "Opened within 10 min."})
    assert here.startswith("http://127.0.0.1:1/open?code=x\n")
    assert "this machine only" in here
    assert "only" not in words({"link": "http://plot:1/open?code=x", "text": "Once."})
    one = {"id": "0badcafe", "role": "helper", "name": "Ann", "since": "2026-07-15T18:05:00Z"}
    assert words({"pairs": [one]}) == "0badcafe  helper    since 2026-07-15  Ann"
    assert words({"pairs": []}) == "No browser is paired."
