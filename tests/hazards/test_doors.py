"""A request that is too large: the limit itself, to the byte."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from api.desk import FakeDesk
from api.http import create_app

RIGHT = "the-operators-token"
HEADERS = {"Authorization": f"Bearer {RIGHT}", "Content-Type": "application/json"}
LIMIT_BYTES = 16 * 1024


@pytest.mark.hazard("N3")
@pytest.mark.parametrize(
    ("over", "status"), [pytest.param(0, 202, id="whole"), pytest.param(1, 413, id="a-byte-more")]
)
def test_a_body_of_16_kib_is_read_and_a_byte_more_is_not(over: int, status: int) -> None:
    desk = FakeDesk()
    app = create_app(desk, token=RIGHT)
    client = TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5), headers=HEADERS)
    order = b'{"litres": 12}'
    body = order + b" " * (LIMIT_BYTES - len(order) + over)
    assert client.post("/api/beds/south/water", content=body).status_code == status
    assert len(desk.orders) == (0 if over else 1)
