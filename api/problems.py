"""Refusals over HTTP: RFC 9457 problem documents, and a plain page for a person's browser.

A problem says what is wrong and what is allowed; it never repeats what was sent, so nothing that
a stranger typed comes back (and nothing that is no JSON number can break the answer).
"""

from __future__ import annotations

import hashlib
import json
import logging
import math
import secrets
from collections.abc import Callable
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, Response

from controller.errors import ThirstlineError

log = logging.getLogger(__name__)

_RUN = secrets.token_hex(8)
PROBLEM_JSON = "application/problem+json"

# RFC 9110 section 15: what each status means, in our words
TITLES = {
    400: "This host name is not known here",
    401: "This browser was not let in",
    403: "Not from there",
    404: "There is no such thing here",
    405: "Not in this way",
    408: "Too slow",
    409: "Refused",
    413: "Too large",
    415: "JSON only",
    422: "Not understood",
    429: "Too many tries",
    500: "A fault on this side",
    503: "Not possible now",
}
LET_IN = (
    "Open the link or the drawn code that Phones… makes, at the foot of the page of a browser that "
    "is let in; on the board thirstline pair makes one. Programs send Authorization: Bearer and "
    "the token."
)
NOT_OURS = {404: "The address may be typed wrongly, or be one of an older version."}


class ProblemError(ThirstlineError):
    """A request that is answered with a refusal.

    Args:
        status: HTTP status.
        detail: what is wrong and what is allowed, without anything that was sent.
        headers: extra headers of the answer.
        more: further members of the problem document.
    """

    def __init__(
        self,
        status: int,
        detail: str,
        *,
        headers: dict[str, str] | None = None,
        more: dict[str, object] | None = None,
    ) -> None:
        self.status = status
        self.detail = detail
        self.headers = headers or {}
        self.more = more or {}
        super().__init__(f"{status}: {detail}")


def finite(value: object) -> Any:  # noqa: ANN401 - any JSON value
    """The same JSON value with every number that is not finite made null.

    Args:
        value: anything made of dicts, lists, tuples, texts and numbers.

    Returns:
        A copy that strict JSON can carry.
    """
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {str(key): finite(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [finite(inner) for inner in value]
    return value


def json_response(
    value: object,
    *,
    status: int = 200,
    media: str = "application/json",
    headers: dict[str, str] | None = None,
) -> Response:
    """An answer in strict JSON."""
    body = json.dumps(finite(value), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    sent = {"Cache-Control": "no-store", **(headers or {})}
    return Response(body.encode("utf-8", "replace"), status, sent, media)


def etag_of(version: str) -> str:
    """A version as an entity tag that any text may stand behind.

    No tag outlives its process: versions are counted anew after a restart, and a page that was
    open before must not be told that nothing changed.
    """
    told = f"{_RUN} {version}".encode("utf-8", "replace")
    return f'"{hashlib.sha256(told).hexdigest()[:20]}"'


def is_known(request: Request, etag: str) -> bool:
    """Whether the caller holds this version already (RFC 9110 section 13.1.2)."""
    header = request.headers.get("if-none-match", "")
    return etag in {tag.strip().removeprefix("W/") for tag in header.split(",")}


def problem_response(problem: ProblemError) -> Response:
    """The problem as its document.

    Source: RFC 9457 section 3.
    """
    document = {
        "type": "about:blank",
        "title": TITLES.get(problem.status, "Refused"),
        "status": problem.status,
        "detail": problem.detail,
        **problem.more,
    }
    return json_response(
        document, status=problem.status, media=PROBLEM_JSON, headers=problem.headers
    )


_BARE_PAGE = (
    '<!doctype html><html lang="en"><meta charset="utf-8">'
    '<meta name="viewport" content="width=device-width">'
    '<title>{title}</title><h1>{title}</h1><p>{detail}</p><p><a href="/">Back to the garden</a></p>'
)


def bare_page(problem: ProblemError) -> Response:
    """The problem for a browser, where no template can be trusted to work.

    Titles and details are constants of this project, so there is nothing to escape.
    """
    title = TITLES.get(problem.status, "Refused")
    body = _BARE_PAGE.format(title=title, detail=problem.detail)
    headers = {"Cache-Control": "no-store", **problem.headers}
    return HTMLResponse(body, problem.status, headers)


def for_program(path: str) -> bool:
    """Whether this path answers programs (JSON) and not a person's browser."""
    return path == "/api" or path.startswith("/api/") or path == "/openapi.json"


def _at_fault(exc: Exception) -> str:
    """Which part of the address is malformed, by our own name for it; never what was sent."""
    faults = exc.errors() if isinstance(exc, RequestValidationError) else []
    names = sorted({str(fault["loc"][-1]) for fault in faults if len(fault["loc"]) == 2})
    where = f"At fault: {', '.join(names)}. " if names else ""
    return f"A part of the address is malformed. {where}/docs on the board says what is allowed."


Page = Callable[[ProblemError], Response]


def answer_problem(path: str, problem: ProblemError, for_person: Page = bare_page) -> Response:
    """The refusal in the form that fits the path."""
    return problem_response(problem) if for_program(path) else for_person(problem)


def install(app: FastAPI, for_person: Page = bare_page) -> None:
    """Let every refusal of this app be a problem that echoes nothing.

    Args:
        app: the application.
        for_person: makes the page that a browser shows.
    """

    def refuse(request: Request, problem: ProblemError) -> Response:
        return answer_problem(request.url.path, problem, for_person)

    async def on_problem(request: Request, exc: Exception) -> Response:
        problem = exc if isinstance(exc, ProblemError) else ProblemError(500, "See the log.")
        return refuse(request, problem)

    async def on_invalid(request: Request, exc: Exception) -> Response:
        return refuse(request, ProblemError(422, _at_fault(exc)))

    async def on_http(request: Request, exc: Exception) -> Response:
        status = exc.status_code if isinstance(exc, HTTPException) else 500
        detail = NOT_OURS.get(status) or f"{TITLES.get(status, 'Refused')}."
        headers = getattr(exc, "headers", None) or {}
        return refuse(request, ProblemError(status, detail, headers=dict(headers)))

    app.add_exception_handler(ProblemError, on_problem)
    app.add_exception_handler(RequestValidationError, on_invalid)
    app.add_exception_handler(HTTPException, on_http)
