"""The API's own description, made whole: words, units, examples, and every refusal there can be.

The framework describes parameters and bodies; what it says of faults is not what we answer (a
problem document that echoes nothing), so that part is put in its place here.
"""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from fastapi import FastAPI

from api.describing import shapes
from api.describing.calls import CALLS
from api.describing.shapes import schema_of
from api.describing.words import word_of
from api.problems import PROBLEM_JSON, TITLES

READS = (400, 401, 429, 503)
WRITES = (400, 401, 403, 404, 408, 409, 413, 415, 422, 429, 503)
STOPS = (400, 401, 403, 413, 415, 422, 429, 503)
PROBLEM = {**schema_of(shapes.PROBLEM), "required": ["type", "title", "status", "detail"]}
DETAILS = {  # what a refusal of each kind may say
    400: "Add the name to [page] names, or use one that is there.",
    401: "Send Authorization: Bearer and the token, or let the browser in by a link of pair.",
    403: "This origin is not listed under [page] names.",
    404: "There is no such bed.",
    408: "A body may take 10 s.",
    409: "Too much for today: the bed's limit leaves 12 L.",
    413: "A body may have 16384 bytes.",
    415: "Send application/json, or no body.",
    422: "Allowed: litres; nothing else. At fault: litres.",
    429: "Too many orders from there. Wait a little.",
    503: "The engine did not answer. Look at the log before ordering again.",
}
REFUSED = {"reason": "bed_day", "allowed_litres": 12.0, "next_possible": "2026-07-16T05:00:00Z"}
SCHEMES = {
    "token": {
        "type": "http",
        "scheme": "bearer",
        "description": "The operator's token: the file `token` in the data folder.",
    },
    "cookie": {
        "type": "apiKey",
        "in": "cookie",
        "name": "thirstline",
        "description": "A paired browser's; writing needs a listed Origin beside it.",
    },
}
INFO = (
    "Reading and ordering on one garden's own controller. Units are metric and stand in brackets, "
    "instants are RFC 3339 in UTC, fractions go from 0 to 1. Refusals are problem documents "
    "(RFC 9457), told apart by status and title. An `Idempotency-Key` makes a repeat harmless."
)
KEY_HEADER = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": False,
    "description": "1 to 128 printable letters: the same order with the same key is done once.",
    "schema": {"type": "string", "pattern": "^[!-~]{1,128}$"},
    "example": "watering-2026-07-15-south",
}
PARAMETERS: dict[str, Any] = {
    "bed": "south",
    "alert": "leak",
    "pair": "0badcafe",
    "from": "2026-07-10T00:00:00Z",
    "to": "2026-07-15T00:00:00Z",
    "step": "86400",
    "after": "0",
    "limit": "200",
}


def whole(app: FastAPI) -> dict[str, Any]:
    """The description of an application, complete.

    Args:
        app: all its routes are there already.
    """
    told: dict[str, Any] = deepcopy(app.openapi())  # which the application keeps
    told["info"]["description"] = INFO
    components = told.setdefault("components", {})
    components["schemas"] = {"Problem": _explained(PROBLEM, "problem")}
    components["securitySchemes"] = SCHEMES
    for path, calls in told["paths"].items():
        for method, call in calls.items():
            _complete(path, method, call)
    return told


def _complete(path: str, method: str, call: dict[str, Any]) -> None:
    """Add to one call what it is called, who may make it, what comes back, how it is refused."""
    known = CALLS.get(f"{method.upper()} {path}")
    stops = path.endswith("/stop")
    if method != "get" and "requestBody" not in call and not stops:
        call["requestBody"] = {"required": False, "content": {"application/json": _reason()}}
    if known is not None:
        call["summary"] = known.summary
    for parameter in call.get("parameters", ()):
        name = parameter["name"]
        parameter["description"] = word_of(name)
        parameter["example"] = PARAMETERS.get(name)
    _complete_body(call, known.sends if known is not None else None)
    call["responses"] = {**_accepted(path, method, call), **_refused(path, method, call)}
    if method != "get" and not stops:
        call.setdefault("parameters", []).append(dict(KEY_HEADER))
    if path != "/api/health":
        open_here: list[dict[str, list[str]]] = [{}] if method == "get" or stops else []
        call["security"] = [{"token": []}, {"cookie": []}, *open_here]


def _complete_body(call: dict[str, Any], sends: dict[str, Any] | None) -> None:
    for content in call.get("requestBody", {}).get("content", {}).values():
        content["schema"] = _explained(content["schema"], "")
        told = sends or {"with_a_reason": {"why": "looked after it"}, "without": {}}
        content["examples"] = {
            name: {"summary": name.replace("_", " "), "value": value}
            for name, value in told.items()
        }


def _accepted(path: str, method: str, call: dict[str, Any]) -> dict[str, Any]:
    """What comes back when all is well."""
    known = CALLS.get(f"{method.upper()} {path}")
    found: dict[str, Any] = {}
    for status in (code for code in call["responses"] if code.startswith("2")):
        found[status] = {"description": "Accepted." if status == "202" else "Done."}
        if known is not None:
            schema = _explained(schema_of(known.answer), _inside(path))
            content = {"schema": schema, "example": known.example}
            found[status]["content"] = {"application/json": content}
    if path == "/api/garden":
        found["304"] = {"description": "Nothing changed since the version that was named."}
    return found


def _refused(path: str, method: str, call: dict[str, Any]) -> dict[str, Any]:
    """Every problem that can come back, by status."""
    stops = path.endswith("/stop")
    statuses = READS if method == "get" else (STOPS if stops else WRITES)
    if path == "/api/pairs" and method == "get":
        statuses = (*statuses, 403)
    queries = (422,) if call.get("parameters") else ()
    found = {}
    for status in (*statuses, *((404,) if "{" in path else ()), *queries):
        found[str(status)] = {
            "description": TITLES[status],
            "content": {
                PROBLEM_JSON: {
                    "schema": {"$ref": "#/components/schemas/Problem"},
                    "example": problem_example(status),
                }
            },
        }
    return found


def problem_example(status: int) -> dict[str, Any]:
    """A problem document of this status."""
    return {
        "type": "about:blank",
        "title": TITLES[status],
        "status": status,
        "detail": DETAILS[status],
        **(REFUSED if status == 409 else {}),
    }


def _inside(path: str) -> str:
    """What the outermost fields of an answer stand in."""
    return {"/api/garden": "garden", "/api/season": "book"}.get(path, "")


def _explained(schema: Any, inside: str) -> Any:  # noqa: ANN401 - any JSON schema
    """The same schema with each property's meaning and unit."""
    if isinstance(schema, list):
        return [_explained(one, inside) for one in schema]
    if not isinstance(schema, dict):
        return schema
    found = {key: _explained(one, inside) for key, one in schema.items() if key != "properties"}
    if "properties" in schema:
        found["properties"] = {
            name: {**_explained(one, name), **_said(name, inside)}
            for name, one in schema["properties"].items()
        }
    return found


def _said(name: str, inside: str) -> dict[str, str]:
    word = word_of(name, inside)
    return {"description": word} if word else {}


def _reason() -> dict[str, Any]:
    why = {"type": "string", "maxLength": 200, "pattern": r"^[^\x00-\x1f\x7f]*$"}
    schema = {"type": "object", "additionalProperties": False, "properties": {"why": why}}
    return {"schema": schema}
