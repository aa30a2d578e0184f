"""Templates and static files of the page.

Static files are served under a name that carries a hash of their content, so they may be kept for
ever; pages that hold forms are kept nowhere.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from starlette.responses import HTMLResponse, Response

from api.page import plant
from api.problems import TITLES, ProblemError
from controller.run import LEASE_S, MARGIN_S

HERE = Path(__file__).parent
_KINDS = {
    "page.css": "text/css",
    "page.js": "text/javascript",
    "stop.js": "text/javascript",
    "icon.svg": "image/svg+xml",
}
_STRANGERS = frozenset({400, 401})  # to those that may not, nothing is offered
CLOSES_MIN = math.ceil((LEASE_S + MARGIN_S) / 60.0)  # after the last word that a node heard
UNHEARD = (
    "No contact: nobody answered. If the board is off or cut off, water stops by itself within "
    f"{CLOSES_MIN} minutes. If only this phone is cut off, it runs to its planned end. In doubt "
    "shut the tap by hand."
)
FOR_EVER = "public, max-age=31536000, immutable"


@cache
def _templates() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(HERE),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["static"] = static_path
    environment.globals["unheard"] = UNHEARD
    environment.filters["tight"] = tight
    return environment


def tight(text: str) -> str:
    """A number and its unit kept on one line by a no-break space."""
    return re.sub(r"(?<=\d) (?=(?:%|L|gal|mm|in|min|h|d|days?)(?:\W|$))", "\u00a0", text)


@cache
def _content(name: str) -> bytes:
    if name == "icon.svg":
        return _icon()
    return (HERE / name).read_bytes()


def _icon() -> bytes:
    """The plant of the page as the browser's small picture."""
    drawing = str(plant.draw(plant.Posture.UPRIGHT))
    style = (
        "<style>.stem,.truss,.stake,.ground{fill:none;stroke:#2f6b3a;stroke-width:4}"
        ".stake{stroke:none}.leaf{fill:#2f6b3a}.fruit{fill:#b84400}</style>"
    )
    opened = drawing.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    head, _, rest = opened.partition(">")
    return f"{head}>{style}<defs>{plant.LEAF}</defs>{rest}".encode()


@cache
def static_path(name: str) -> str:
    """The address of a static file, with the hash of its content in the name."""
    stem, _, ending = name.rpartition(".")
    return f"/static/{stem}-{hashlib.sha256(_content(name)).hexdigest()[:12]}.{ending}"


def static(asked: str) -> Response | None:
    """A static file by its hashed name, None where there is none."""
    for name, kind in _KINDS.items():
        if static_path(name) == f"/static/{asked}":
            return Response(_content(name), media_type=kind, headers={"Cache-Control": FOR_EVER})
    return None


def page(template: str, context: dict[str, Any], status: int = 200) -> Response:
    """A page from its template; kept nowhere.

    Its style is named ahead of it, so that a slow phone asks for that before it has read the page.
    """
    html = _templates().get_template(template).render(context)
    ahead = f"<{static_path('page.css')}>; rel=preload; as=style"
    return HTMLResponse(html, status, {"Cache-Control": "no-store", "Link": ahead})


def refused(problem: ProblemError) -> Response:
    """A refusal as a page."""
    context = {
        "title": problem.more.get("title", TITLES.get(problem.status, "Refused")),
        "lines": [problem.detail],
        "stoppable": problem.status not in _STRANGERS,
    }
    answer = page("said.html", context, problem.status)
    answer.headers.update(problem.headers)
    return answer


def docs(openapi: dict[str, Any]) -> Response:
    """The API's own description as a plain table, without anybody's script."""
    calls = [
        (method.upper(), path, call.get("summary", ""), call.get("description", ""), _sent(call))
        for path, methods in sorted(openapi["paths"].items())
        for method, call in methods.items()
    ]
    return page("docs.html", {"calls": calls, "title": "The API", "stoppable": False})


def _sent(call: dict[str, Any]) -> list[str]:
    """Bodies that a call takes, for example."""
    content = call.get("requestBody", {}).get("content", {}).get("application/json", {})
    told = [one["value"] for one in content.get("examples", {}).values()]
    return [json.dumps(value, ensure_ascii=False) for value in told if value]
