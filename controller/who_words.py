"""Who told or ordered something, as people say it: a name, not the way in which it came."""

from __future__ import annotations

import re

BOARD = "somebody at the board"
WAYS = {
    "page on loopback": BOARD,
    "loopback": BOARD,
    "operator": "somebody who holds the token",
    "": "somebody",
}
PAIRED = re.compile(r"(operator|helper) [0-9a-f]{8}(?: \((?P<name>.+)\))?", re.DOTALL)
UNNAMED = {"operator": "somebody on an unnamed phone", "helper": "a helper on an unnamed phone"}


def person(who: str) -> str:
    """A caller in a person's words.

    Args:
        who: as the record has it: `helper 0badcafe (Ann)`, `page on loopback`, `operator`.

    Returns:
        `Ann`, `somebody at the board`; what is none of these as it is.
    """
    known = WAYS.get(who)
    if known is not None:
        return known
    paired = PAIRED.fullmatch(who)
    if paired is None:
        return who
    return paired["name"] or UNNAMED[paired[1]]
