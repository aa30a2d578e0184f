"""The API's own description, made whole: who may call, and every refusal that can come back.

The framework describes parameters and bodies; what it says of faults is not what we answer (a
problem document that echoes nothing), so that part is put in its place here.
"""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI

from api.problems import PROBLEM_JSON, TITLES

READS = (400, 401, 429, 503)
WRITES = (400, 401, 403, 404, 408, 409, 413, 415, 422, 429, 503)
STOPS = (400, 401, 403, 413, 415, 422, 429, 503)
PROBLEM = {
    "type": "object",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "reason": {"type": "string"},
        "allowed_litres": {"type": ["number", "null"]},
        "next_possible": {"type": ["string", "null"], "format": "date-time"},
    },
}
SCHEMES = {
    "token": {"type": "http", "scheme": "bearer"},
    "cookie": {"type": "apiKey", "in": "cookie", "name": "thirstline"},
}


def whole(app: FastAPI) -> dict[str, Any]:
    """The description of an application, complete.

    Args:
        app: all its routes are there already.
    """
    told: dict[str, Any] = app.openapi()
    components = told.setdefault("components", {})
    components["schemas"] = {"Problem": PROBLEM}
    components["securitySchemes"] = SCHEMES
    for path, calls in told["paths"].items():
        for method, call in calls.items():
            _complete(path, method, call)
    return told


def _complete(path: str, method: str, call: dict[str, Any]) -> None:
    """Add to one call who may make it and how it can be refused."""
    stops = path.endswith("/stop")
    statuses = READS if method == "get" else (STOPS if stops else WRITES)
    answers = {code: one for code, one in call["responses"].items() if code.startswith("2")}
    if path == "/api/garden":
        answers["304"] = {"description": "Nothing changed since the version that was named."}
    if path == "/api/pairs" and method == "get":
        statuses = (*statuses, 403)
    if method != "get" and "requestBody" not in call and not stops:
        call["requestBody"] = _REASON
    for status in (*statuses, *((404,) if "{" in path else ()), *_of_query(call)):
        answers[str(status)] = {
            "description": TITLES[status],
            "content": {PROBLEM_JSON: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
    call["responses"] = answers
    if path != "/api/health":
        open_here: list[dict[str, list[str]]] = [{}] if method == "get" or stops else []
        call["security"] = [{"token": []}, {"cookie": []}, *open_here]


def _of_query(call: dict[str, Any]) -> tuple[int, ...]:
    return (422,) if call.get("parameters") else ()


_REASON = {
    "required": False,
    "content": {
        "application/json": {
            "schema": {
                "type": "object",
                "additionalProperties": False,
                "properties": {
                    "why": {
                        "type": "string",
                        "maxLength": 200,
                        "pattern": r"^[^\x00-\x1f\x7f]*$",
                    }
                },
            }
        }
    },
}
