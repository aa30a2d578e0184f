"""An order with a key is done once: from another connection, after a restart, over the record."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.http import create_app
from controller.effects import Answer, Reserve
from controller.engine import Engine
from controller.events import Order, OrderKind
from controller.run import VERSION
from controller.state import EngineState
from controller.store_schema import needs_disk
from controller.telling.repeats import KEPT_MOST, SENDERS_MOST, keyed_id, known
from controller.told_state import Keyed
from tests.desk_bench import EngineDesk
from tests.engine_garden import QUIET_S, small_garden
from tests.unit.test_pairing import OWN, Place

RIGHT = "the-operators-token"
KEY = {"Idempotency-Key": "from-my-phone-1"}


@pytest.fixture
def desk() -> EngineDesk:
    return EngineDesk(small_garden(beds=("south", "north"), at_once=2))


def connection(desk: EngineDesk, app: Any = None, host: str = "192.168.1.9") -> TestClient:
    """One more way in; without an app of its own as after a restart of the web."""
    app = app or create_app(desk, token=RIGHT, monotonic=lambda: 0.0)
    headers = {"Authorization": f"Bearer {RIGHT}"}
    return TestClient(app, base_url="http://localhost", client=(host, 5), headers=headers)


def restart(desk: EngineDesk) -> None:
    desk.bench.restart(30.0)
    desk.bench.connect()
    desk.bench.live(QUIET_S + 5.0)


def doses(desk: EngineDesk) -> int:
    return len(desk.bench.of(Reserve))


def water(client: TestClient, litres: float = 20.0, bed: str = "south") -> Any:
    return client.post(f"/api/beds/{bed}/water", json={"litres": litres}, headers=KEY)


def test_the_same_order_from_a_second_connection_is_not_done_again(desk: EngineDesk) -> None:
    app = create_app(desk, token=RIGHT, monotonic=lambda: 0.0)
    first = water(connection(desk, app))
    assert first.status_code == 202, first.text
    again = water(connection(desk, app, "192.168.1.44"))
    assert (again.status_code, again.json()) == (202, first.json())
    assert doses(desk) == 1


def test_the_same_order_after_a_restart_is_not_done_again(desk: EngineDesk) -> None:
    first = water(connection(desk))
    desk.bench.live(600.0)
    restart(desk)
    given_l, made = desk.bench.litres["south"], doses(desk)
    again = water(connection(desk))
    assert (again.status_code, again.json()) == (202, first.json())
    desk.bench.live(1800.0)
    assert doses(desk) == made
    assert desk.bench.litres["south"] == given_l


def test_the_same_order_without_a_key_would_be_done_again(desk: EngineDesk) -> None:
    """The counter-proof: it is the key that keeps the water off."""
    client = connection(desk)
    assert client.post("/api/beds/south/water", json={"litres": 20}).status_code == 202
    desk.bench.live(1500.0)
    restart(desk)
    made = doses(desk)
    assert connection(desk).post("/api/beds/south/water", json={"litres": 20}).status_code == 202
    assert doses(desk) > made


def test_another_order_under_the_same_key_is_422_after_a_restart_too(desk: EngineDesk) -> None:
    water(connection(desk))
    restart(desk)
    made = doses(desk)
    for other in (water(connection(desk), 21.0), water(connection(desk), bed="north")):
        assert other.status_code == 422
        assert "another request" in other.json()["detail"]
    assert doses(desk) == made


def test_a_refusal_is_given_again_as_it_was(desk: EngineDesk) -> None:
    first = water(connection(desk), 9000.0)
    assert first.status_code == 409
    restart(desk)
    again = water(connection(desk), 9000.0)
    assert (again.status_code, again.json()) == (409, first.json())


@pytest.mark.parametrize("mode", ["hold", "fail"])
def test_an_order_cut_before_its_answer_never_waters_twice(desk: EngineDesk, mode: str) -> None:
    desk.bench.record_mode = mode
    assert water(connection(desk)).status_code == 503
    desk.bench.record_mode = "ok"
    restart(desk)
    made = doses(desk)
    again = water(connection(desk))
    if mode == "hold":  # nobody knows whether water ran
        assert (again.status_code, again.json()["reason"]) == (409, "begun_before")
        assert doses(desk) == made
    else:  # it was told that nothing opened
        assert again.status_code == 202, again.text
        assert doses(desk) == made + 1


def test_a_note_is_written_once(desk: EngineDesk) -> None:
    for _ in range(2):
        got = connection(desk).post(
            "/api/beds/south/note", json={"text": "straw laid"}, headers=KEY
        )
        assert got.status_code == 200
        restart(desk)
    assert sum("straw laid" in row["text"] for row in desk.log(0, 500)) == 1


def test_what_is_kept_is_bounded_and_outlives_a_dump(desk: EngineDesk) -> None:
    client = connection(desk)
    for number in range(KEPT_MOST + 10):
        key = {"Idempotency-Key": f"k{number}"}
        assert client.request("DELETE", "/api/pause", headers=key).status_code == 200
    state = desk.bench.engine.state
    assert len(state.keyed) == KEPT_MOST
    again = Engine.load(desk.bench.engine.dump()).state.keyed
    assert list(again) == list(state.keyed), "in the same order"
    assert again == state.keyed


@pytest.mark.hazard("N1")
@pytest.mark.parametrize("through_restart", [False, True])
def test_anothers_keys_never_push_out_ones_own(through_restart: bool) -> None:
    desk = EngineDesk(small_garden(beds=("south", "north"), at_once=2))
    place = Place(desk)
    helper, body = place.paired("helper", "Ann"), {"feel": "just_moist", "depth_cm": 20}
    first = water(place.shell())
    assert first.status_code == 202, first.text
    for number in range(300):
        keyed = {**OWN, "Idempotency-Key": f"k{number}"}
        assert helper.post("/api/beds/north/soil", json=body, headers=keyed).status_code == 200
    assert len(desk.bench.engine.state.keyed) == KEPT_MOST + 1
    if through_restart:
        restart(desk)
        place = Place(desk)
    made = doses(desk)
    again = water(place.shell())
    assert (again.status_code, again.json()) == (202, first.json())
    assert doses(desk) == made


def test_keys_of_before_senders_were_kept_go_first() -> None:
    state = EngineState(version=VERSION)
    for number in range(100):
        state.keyed[f"key-old{number}"] = Keyed(order=f"key-old{number}-x")
    for number in range(KEPT_MOST):
        told = Order(
            at_utc_s=0.0, mono_s=0.0, order=f"key-new{number}-x", what=OrderKind.RESUME, who="Ann"
        )
        assert known(state, told) is None
    assert {one.who for one in state.keyed.values()} == {"Ann"}
    assert len(state.keyed) == KEPT_MOST


def test_the_keys_of_all_senders_together_are_bounded() -> None:
    state = EngineState(version=VERSION)
    for sender in range(SENDERS_MOST + 5):
        for number in range(KEPT_MOST):
            order = f"key-{sender}n{number}-x"
            who = f"helper {sender}"
            told = Order(at_utc_s=0.0, mono_s=0.0, order=order, what=OrderKind.RESUME, who=who)
            assert known(state, told) is None
    assert len(state.keyed) == KEPT_MOST * SENDERS_MOST


def test_the_key_itself_is_not_in_the_record() -> None:
    name = keyed_id(("operator ", "my secret key"), b"POST /api/beds/south/water\n{}")
    assert "secret" not in name
    assert name != keyed_id(("operator ", "my secret key"), b"POST /api/beds/north/water\n{}")
    assert name.rpartition("-")[0] == keyed_id(("operator ", "my secret key"), b"")[:-17]


def test_the_answer_to_an_order_with_a_key_is_on_disk_before_anything_follows() -> None:
    keyed = Answer(order=keyed_id(("operator ", "k"), b"x"), status="accepted")
    assert needs_disk([keyed])
    assert not needs_disk([Answer(order="o-1", status="accepted")])
