"""A commissioning walk under way, as the front page says it: who is walked, and what it asks."""

from __future__ import annotations

from typing import Any

from api.page.words import Tongue, bed_name

BEING_WALKED = "Being walked"


def walk_now(view: dict[str, Any]) -> dict[str, Any] | None:
    """The walk under way; None where there is none. The weekly proof is no walk."""
    now: dict[str, Any] | None = (view.get("walk") or {}).get("now")
    return now if now and now["kind"] == "walk" else None


def asks(view: dict[str, Any]) -> bool:
    """Whether a walk waits for a person's answer."""
    now = walk_now(view)
    return now is not None and now["asks"] is not None


def is_walked(view: dict[str, Any], bed: str) -> bool:
    """Whether this bed is the one that the walk is at."""
    now = walk_now(view)
    return now is not None and bed in {now["bed"], now["asks"]}


def walk_words(view: dict[str, Any], tongue: Tongue) -> str:
    """What the walk does or asks; empty where there is none."""
    now = walk_now(view)
    return "" if now is None else tongue.said(str(now["text"]))


def walk_headline(view: dict[str, Any]) -> list[tuple[str, bool]]:
    """The garden in one sentence while a walk is under way; nothing where there is none."""
    now = walk_now(view)
    if now is None:
        return []
    if now["asks"] is not None:
        return [("The walk", True), (" waits for your answer.", False)]
    where = f": {bed_name(now['bed'])} now" if now["bed"] else ""
    return [("The valves are walked", True), (f"{where}.", False)]
