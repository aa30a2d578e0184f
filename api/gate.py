"""The outermost layer of the web: host check, fixed headers, and the last net under a fault.

Plain ASGI, so that nothing is buffered and a fault in a route can never leave without its headers.
"""

from __future__ import annotations

import logging

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.addresses import Names
from api.problems import ProblemError, answer_problem

log = logging.getLogger(__name__)

# The page brings its own style and script as files and loads nothing from elsewhere.
CONTENT_POLICY = (
    "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # not `no-referrer`: with it browsers send `Origin: null` from our own forms
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}


class Gate:
    """Wraps the app.

    Args:
        app: what is inside.
        names: the host names that are ours.
    """

    def __init__(self, app: ASGIApp, names: Names) -> None:
        self._app = app
        self._names = names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or answer it here."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        begun = False

        async def send_with_headers(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        try:
            if self._names_us(scope):
                await self._app(scope, receive, send_with_headers)
            else:
                refusal = ProblemError(
                    400, "Add the name to [page] names, or use one that is there."
                )
                answer = answer_problem(scope["path"], refusal)
                await answer(scope, receive, send_with_headers)
        except ClientDisconnect:
            log.debug("a caller left before the end")
        except Exception:
            log.exception("a fault while answering %s", scope["method"])
            if not begun:
                fault = answer_problem(scope["path"], ProblemError(500, "See the daemon's log."))
                await fault(scope, receive, send_with_headers)

    def _names_us(self, scope: Scope) -> bool:
        hosts = Headers(scope=scope).getlist("host")
        return len(hosts) == 1 and self._names.knows_host(hosts[0])
