"""Every call of the API under what its own description allows, and under what it forbids.

schemathesis makes the requests from the description that the app gives of itself; the app stands
over a real engine. No answer may be a fault of ours (5xx), none may have a status or a content type
that the description does not name. Seeded: the same requests each time.
"""

from typing import Any

import httpx2
import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core import NOT_SET
from schemathesis.core.failures import FailureGroup
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from api.description import whole
from api.http import create_app
from controller.effects import Answer
from tests.desk_bench import EngineDesk
from tests.engine_garden import small_garden

RIGHT = "the-operators-token"
BEARER = {"Authorization": f"Bearer {RIGHT}"}
# what a path may name: beds that there are, alerts and pairings that there may be, and none
NAMED: dict[str, tuple[str, ...]] = {
    "bed": ("south", "north", "South", "no-such-bed"),
    "alert": ("leak", "flow_asked", "history_lost", "nothing"),
    "pair": ("0badcafe", "00000000", "none"),
}


class Clock:
    """Ten seconds pass between two requests, so that no pace is ever lost."""

    def __init__(self) -> None:
        self.mono_s = 0.0

    def __call__(self) -> float:
        self.mono_s += 10.0
        return self.mono_s


def described(desk: EngineDesk) -> tuple[Any, TestClient]:
    app = create_app(desk, token=RIGHT, monotonic=Clock())
    client = TestClient(app, base_url="http://localhost", client=("192.168.1.9", 5), headers=BEARER)
    return schemathesis.openapi.from_dict(whole(app)), client


DESK = EngineDesk(small_garden(meter=True, master=True, beds=("south", "north"), at_once=2))
SCHEMA, CLIENT = described(DESK)
CALLS = {found.ok().label: found.ok() for found in SCHEMA.get_all_operations()}
CAN_BE_WRONG = [  # those with something to be wrong about
    label for label, call in CALLS.items() if call.body or call.query
]


def send(case: Any) -> httpx2.Response:
    """One made-up request, with the right token and a host that is ours."""
    kwargs = case.as_transport_kwargs(base_url="http://localhost")
    wanted = {"method", "url", "json", "data", "params", "headers"}
    known = {key: value for key, value in kwargs.items() if key in wanted and value is not NOT_SET}
    headers = {k: v for k, v in dict(known.pop("headers", {}) or {}).items() if _sendable(k, v)}
    headers |= {"Host": "localhost", **BEARER}
    data = known.pop("data", None)
    if data is not None:
        known["content"] = data if isinstance(data, bytes | str) else str(data)
    return CLIENT.request(**known, headers=headers)


def _sendable(name: str, value: object) -> bool:
    """Whether a client could put this header on the wire at all."""
    text = f"{name}{value}"
    return name.lower() != "content-length" and text.isascii() and text.isprintable()


def hold(label: str, mode: GenerationMode, examples: int) -> None:
    """Send so many made-up requests of one call and judge every answer."""
    call = CALLS[label]
    names = {part.name for part in call.path_parameters}
    known = st.fixed_dictionaries({name: st.sampled_from(NAMED[name]) for name in sorted(names)})

    @settings(
        max_examples=examples,
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(st.data())
    def each(data: Any) -> None:
        path = data.draw(known) if names else None
        case = data.draw(call.as_strategy(generation_mode=mode, path_parameters=path))
        got = send(case)
        checks = [
            not_a_server_error,
            status_code_conformance,
            content_type_conformance,
            response_schema_conformance,
        ]
        case.validate_response(got, checks=checks)
        DESK.bench.now_s += 1.0

    each()


@pytest.mark.parametrize("label", CALLS)
def test_every_call_answers_what_it_says(label: str) -> None:
    hold(label, GenerationMode.POSITIVE, 1)


@pytest.mark.slow
@pytest.mark.hazard("N3")
@pytest.mark.parametrize("label", CALLS)
def test_no_request_as_described_is_a_fault_of_ours(label: str) -> None:
    hold(label, GenerationMode.POSITIVE, 12)


@pytest.mark.slow
@pytest.mark.hazard("N3")
@pytest.mark.parametrize("label", CAN_BE_WRONG)
def test_no_request_that_is_forbidden_is_a_fault_of_ours(label: str) -> None:
    hold(label, GenerationMode.NEGATIVE, 12)


def test_a_fault_would_be_found(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(fields: dict[str, Any]) -> Answer:
        raise RuntimeError(fields["what"])

    monkeypatch.setattr(DESK, "_placed", broken)
    with pytest.raises(FailureGroup):
        hold("DELETE /api/lock", GenerationMode.POSITIVE, 2)


def test_the_description_names_every_call_that_there_is() -> None:
    assert {"POST /api/stop", "PUT /api/hose", "DELETE /api/pairs/{pair}"} <= set(CALLS)
    assert len(CALLS) >= 40
    assert len(CAN_BE_WRONG) >= 30
