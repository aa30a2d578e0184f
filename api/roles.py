"""What a role may do. The operator may do everything; a helper only what stands here.

A call that is not listed is refused, so that a new one is closed to helpers until somebody thinks
about it. Reading is open to both, but for the list of paired browsers.
"""

from __future__ import annotations

from fastapi import Request

from api.problems import ProblemError

OPERATOR, HELPER = "operator", "helper"
NOT_A_HELPERS = "Not for a helper"  # the title of what is refused

# Look at leaves, feel soil, stop, pause, tell what was poured. What is told may bring water sooner,
# limp leaves in the morning at once, within every limit; a helper orders none, ends no pause,
# makes none shorter, and takes nothing back: the engine refuses the earlier end, it alone knows
# what stands.
TELLING = (
    "You order no water. Limp leaves that you tell of in the morning may make the garden water "
    "that bed by itself at once, within its limits; soil that feels dry may bring water sooner."
)
_BED = (("POST", "look"), ("POST", "soil"), ("POST", "stop"), ("PUT", "pause"), ("POST", "poured"))
HELPER_MAY = frozenset(
    {
        ("POST", "/api/stop"),
        ("PUT", "/api/pause"),
        ("POST", "/do/stop"),
        ("POST", "/do/pause"),
        *((method, f"/api/beds/{{bed}}/{what}") for method, what in _BED),
        *(("POST", f"/do/beds/{{bed}}/{what}") for _, what in _BED),
    }
)


def may(role: str, method: str, route: str) -> bool:
    """Whether this role may call this route, as the router writes it."""
    return role == OPERATOR or (role == HELPER and (method, route) in HELPER_MAY)


def check(role: str, request: Request) -> None:
    """Refuse a call that this role may not make.

    Raises:
        ProblemError: 403.
    """
    if may(role, request.method, getattr(request.scope.get("route"), "path", "")):
        return
    raise ProblemError(
        403,
        "A helper may look, feel the soil, stop, pause, and tell what was poured. Ask the operator "
        "for the rest.",
        more={"title": NOT_A_HELPERS},
    )


def operators_only(role: str) -> None:
    """Refuse everybody but an operator.

    Raises:
        ProblemError: 403.
    """
    if role != OPERATOR:
        raise ProblemError(403, "Only for an operator.", more={"title": NOT_A_HELPERS})
