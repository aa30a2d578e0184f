"""The API's description has no gap, its examples hold, and it names each field of an answer."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator
from typing import Any

import jsonschema_rs
import pytest
from fastapi.testclient import TestClient

from api.describing.calls import CALLS
from api.describing.words import WORDS
from api.description import DETAILS, whole
from api.desk import FAKE_NOW_UTC_S, FakeDesk
from api.http import create_app
from api.problems import TITLES
from controller.effects import Answer
from controller.events import OutlookSpan
from controller.told_state import Paired
from tests.desk_bench import EngineDesk
from tests.engine_garden import small_garden

RIGHT = "the-operators-token"
BEARER = {"Authorization": f"Bearer {RIGHT}"}
UNIT = re.compile(r"\[(L|L/min|L/d|L/kg|mm|cm|s|min|h|d|kg|V|°C|m3/m3|1/mm|count|-)\]")
NAMED = {"bed": "south", "alert": "leak", "pair": "0badcafe"}
LEAK: dict[str, Any] = {
    "id": "leak",
    "code": "leak",
    "bed": None,
    "valve": None,
    "probe": None,
    "since": "2026-07-15T17:00:00Z",
    "text": "6.0 L/min flow, and every bed is closed.",
    "person_needed": True,
}


def app_of(desk: Any) -> TestClient:
    app = create_app(desk, token=RIGHT, monotonic=Clock())
    return TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5), headers=BEARER)


class Clock:
    """Ten seconds pass between two requests, so that no pace is ever lost."""

    def __init__(self) -> None:
        self.mono_s = 0.0

    def __call__(self) -> float:
        self.mono_s += 10.0
        return self.mono_s


def fake() -> FakeDesk:
    """A desk at which every example can be carried out."""
    desk = FakeDesk()
    desk.set(alerts=[LEAK])
    desk.paired["0badcafe"] = Paired(
        role="helper", secret_sha256="0" * 64, since_utc_s=FAKE_NOW_UTC_S, since_trusted_s=0.0
    )
    return desk


TOLD = whole(create_app(FakeDesk(), token=RIGHT))
OPERATIONS = {
    f"{method.upper()} {path}": call
    for path, calls in TOLD["paths"].items()
    for method, call in calls.items()
}
PROBLEM = TOLD["components"]["schemas"]["Problem"]


def resolved(schema: Any) -> Any:
    return PROBLEM if schema.get("$ref", "").endswith("/Problem") else schema


# -- no gap


def properties(schema: Any, where: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every property of a schema, however deep."""
    if isinstance(schema, list):
        for one in schema:
            yield from properties(one, where)
    if not isinstance(schema, dict):
        return
    for name, one in schema.get("properties", {}).items():
        yield f"{where}.{name}", one
        yield from properties(one, f"{where}.{name}")
    for key, one in schema.items():
        if key not in {"properties", "example", "examples", "const", "enum"}:
            yield from properties(one, where)


def kinds(schema: Any) -> set[str]:
    """The types that a value may have."""
    own = schema.get("type", [])
    found = {own} if isinstance(own, str) else set(own)
    for one in schema.get("anyOf", ()):
        found |= kinds(one)
    return found


def gaps(operations: dict[str, dict[str, Any]]) -> list[str]:
    """Everything that a description lacks."""
    found = []
    summaries = [call.get("summary", "") for call in operations.values()]
    for label, call in operations.items():
        summary, words = call.get("summary", ""), call.get("description", "")
        if not 5 <= len(summary) <= 60 or summaries.count(summary) > 1:
            found.append(f"{label}: summary")
        if len(words) < 12 or not words.rstrip().endswith("."):
            found.append(f"{label}: description")
        for one in call.get("parameters", ()):
            if not one.get("description") or one.get("example") is None:
                found.append(f"{label}: parameter {one['name']}")
        for content in call.get("requestBody", {}).get("content", {}).values():
            found += [] if content.get("examples") else [f"{label}: no example of a body"]
            found += named(content["schema"], f"{label} sends")
        if label != "GET /api/health" and not call.get("security"):
            found.append(f"{label}: security")
        found += answers(label, call)
    return found


def named(schema: dict[str, Any], where: str) -> list[str]:
    """Properties without words, and numbers without a unit."""
    found = []
    for name, one in properties(schema, where):
        words = one.get("description", "")
        if len(words) < 4:
            found.append(f"{name}: no words")
        elif kinds(one) & {"number", "integer"} and not UNIT.search(words):
            found.append(f"{name}: no unit in {words!r}")
    return found


def answers(label: str, call: dict[str, Any]) -> list[str]:
    """What is missing in the answers of one call."""
    found = []
    accepted = [code for code in call["responses"] if code.startswith("2")]
    if len(accepted) != 1:
        found.append(f"{label}: accepted as {accepted}")
    for code, one in call["responses"].items():
        if code == "304":
            continue
        for content in one.get("content", {"": {}}).values():
            if not content.get("schema") or content.get("example") is None:
                found.append(f"{label}: {code} without schema or example")
            found += named(resolved(content.get("schema", {})), f"{label} {code}")
        if code.startswith("2"):
            continue
        example = next(iter(one["content"].values()))["example"]
        if (one["description"], example["title"]) != (TITLES[int(code)],) * 2:
            found.append(f"{label}: {code} under another name")
    return found


def test_a_description_asked_for_twice_is_the_same() -> None:
    app = create_app(FakeDesk(), token=RIGHT)
    first = whole(app)
    assert whole(app) == first == TOLD


def test_no_call_field_or_answer_is_without_its_words_units_and_example() -> None:
    assert gaps(OPERATIONS) == []
    assert len(OPERATIONS) > 40


def test_each_call_is_described_and_no_other() -> None:
    assert set(CALLS) == set(OPERATIONS)


def test_no_word_is_for_nothing() -> None:
    inside = "\n".join(
        name
        for call in OPERATIONS.values()
        for schema in [
            *(c["schema"] for c in call.get("requestBody", {}).get("content", {}).values()),
            *(
                resolved(c["schema"])
                for one in call["responses"].values()
                for c in one.get("content", {}).values()
            ),
        ]
        for name, _ in properties(schema, "")
    )
    used = set(re.findall(r"[^.\n]+$", inside, re.MULTILINE))
    used |= {one["name"] for call in OPERATIONS.values() for one in call.get("parameters", ())}
    assert {name.rpartition(".")[2] for name in WORDS} <= used


@pytest.mark.parametrize(
    ("label", "takes"),
    [
        ("PUT /api/hose", lambda call: call.pop("summary")),
        ("PUT /api/hose", lambda call: call.update(description="x")),
        ("GET /api/log", lambda call: call["parameters"][0].pop("description")),
        ("GET /api/log", lambda call: call["parameters"][1].pop("example")),
        (
            "PUT /api/hose",
            lambda call: call["requestBody"]["content"]["application/json"].pop("examples"),
        ),
        ("PUT /api/hose", lambda call: call.pop("security")),
        ("PUT /api/hose", lambda call: call["responses"]["200"].pop("content")),
        ("PUT /api/hose", lambda call: call["responses"]["409"].update(description="Never")),
        (
            "PUT /api/hose",
            lambda call: call["requestBody"]["content"]["application/json"]["schema"]["properties"][
                "minutes"
            ].update(description="How long"),
        ),
        (
            "GET /api/health",
            lambda call: call["responses"]["200"]["content"]["application/json"]["schema"][
                "properties"
            ]["ok"].pop("description"),
        ),
    ],
)
def test_a_gap_would_be_found(label: str, takes: Any) -> None:
    broken = copy.deepcopy(OPERATIONS)
    takes(broken[label])
    assert gaps(broken)


# -- the examples hold


def closed(schema: Any) -> Any:
    """The same schema with no field allowed beside those that it names."""
    if isinstance(schema, list):
        return [closed(one) for one in schema]
    if not isinstance(schema, dict):
        return schema
    found = {key: closed(one) for key, one in schema.items()}
    if "properties" in schema:
        found["additionalProperties"] = False
    return found


def faults(schema: Any, value: Any) -> list[str]:
    return [str(one) for one in jsonschema_rs.Draft202012Validator(schema).iter_errors(value)]


def sendable(label: str) -> list[tuple[str, Any]]:
    call = OPERATIONS[label]
    content = call.get("requestBody", {}).get("content", {}).get("application/json", {})
    return [(name, one["value"]) for name, one in content.get("examples", {}).items()] or [
        ("", None)
    ]


EXAMPLES = [(label, name, body) for label in OPERATIONS for name, body in sendable(label)]


@pytest.mark.parametrize(("label", "name", "body"), EXAMPLES, ids=lambda part: str(part)[:40])
def test_each_example_fits_its_schema_and_is_answered_as_documented(
    label: str, name: str, body: Any
) -> None:
    del name
    call = OPERATIONS[label]
    if body is not None:
        schema = call["requestBody"]["content"]["application/json"]["schema"]
        assert faults(closed(schema), body) == []
    method, _, path = label.partition(" ")
    got = app_of(fake()).request(method, path.format(**NAMED), json=body)
    (accepted,) = [code for code in call["responses"] if code.startswith("2")]
    assert str(got.status_code) == accepted, got.text
    content = call["responses"][accepted]["content"]["application/json"]
    assert faults(closed(content["schema"]), got.json()) == []
    assert faults(closed(content["schema"]), content["example"]) == []


@pytest.mark.parametrize("label", OPERATIONS)
def test_the_examples_of_problems_are_problems(label: str) -> None:
    for code, one in OPERATIONS[label]["responses"].items():
        if code.startswith(("2", "3")):
            continue
        (kind,) = one["content"]
        assert kind == "application/problem+json"
        example = one["content"][kind]["example"]
        assert faults(closed(PROBLEM), example) == []
        assert (example["status"], example["title"]) == (int(code), TITLES[int(code)])


def test_every_status_that_is_told_has_its_words() -> None:
    told = {int(code) for call in OPERATIONS.values() for code in call["responses"]}
    assert {code for code in told if code >= 400} == set(DETAILS)
    assert set(DETAILS) <= set(TITLES)


# -- real answers and real refusals


def lived() -> EngineDesk:
    """A garden in which much has happened."""
    desk = EngineDesk(small_garden(meter=True, master=True, beds=("south", "north"), at_once=2))
    here = app_of(desk)
    done = [
        here.post("/api/walk/backflow", json={"device": "air_gap"}),
        here.post("/api/beds/south/soil", json={"feel": "dry", "depth_cm": 20}),
        here.post("/api/beds/south/look", json={"leaves": 1, "when": "morning"}),
        here.post("/api/beds/south/stage", json={"stage": "first_flower", "on": "2026-06-12"}),
        here.post("/api/beds/north/poured", json={"litres": 20}),
        here.post("/api/beds/north/miss"),
        here.post("/api/beds/south/pick", json={"on": "2026-08-01"}),
        here.put("/api/beds/north/pause", json={"until": "2026-07-20T06:00:00Z"}),
        here.post("/api/beds/south/water", json={"litres": 20}),
        here.put("/api/hose", json={"minutes": 30}),
    ]
    desk.bench.order(
        "outlook",
        spans=(OutlookSpan(from_utc_s=desk.bench.at_utc_s, hours=24.0, rain_mm=3.0),),
    )
    assert [got.status_code for got in done] == [200] * 8 + [202, 200]
    desk.bench.live(300.0)
    return desk


@pytest.mark.parametrize(
    "path",
    [
        "/api/garden",
        "/api/log",
        "/api/beds/south/history",
        "/api/season",
        "/api/walk",
        "/api/pairs",
        "/api/alarm",
    ],
)
def test_no_answer_of_a_living_garden_has_a_field_without_words(path: str) -> None:
    label = f"GET {path.replace('/south/', '/{bed}/')}"
    schema = OPERATIONS[label]["responses"]["200"]["content"]["application/json"]["schema"]
    got = app_of(lived()).get(path)
    assert got.status_code == 200
    assert faults(closed(schema), got.json()) == []


def test_real_refusals_carry_the_names_that_are_told() -> None:
    desk = fake()
    here = app_of(desk)
    plain = TestClient(here.app, base_url="http://localhost", client=("192.168.1.9", 5))
    desk.answer = Answer(order="o", status="refused", reason="bed_day", allowed_l=12.0)
    got = {
        400: here.get("/api/garden", headers={"Host": "elsewhere.example"}),
        401: plain.get("/api/garden"),
        403: here.post("/api/stop", headers={"Origin": "http://elsewhere.example"}),
        404: here.post("/api/beds/nowhere/miss"),
        409: here.post("/api/beds/south/water", json={"litres": 40}),
        413: here.put("/api/lock", content=b"x" * 20_000),
        415: here.put("/api/lock", content=b"x", headers={"Content-Type": "text/plain"}),
        422: here.put("/api/hose", json={"minutes": -1}),
    }
    desk.slow = True
    got[503] = here.delete("/api/lock")
    for _ in range(6):
        got[429] = plain.get("/api/garden", headers={"Authorization": "Bearer wrong"})
    for status, answer in got.items():
        assert answer.status_code == status, answer.text
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.json()["title"] == TITLES[status]
        assert answer.json()["type"] == "about:blank"
        assert faults(closed(PROBLEM), answer.json()) == []
