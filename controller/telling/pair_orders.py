"""Which browsers may come in besides the operator's token: paired, listed, withdrawn.

A browser holds a random name in its cookie; kept here is only its SHA-256, from which nobody gets
the name back. It rides on the record like everything else that people order, so it survives a
restart and every change of it is logged. Nothing here decides what a role may do: `api/roles.py`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from controller.events import Order, OrderKind
from controller.hand_orders import Reply
from controller.run import Run
from controller.told_state import PAIRS_MOST as PAIRS_MOST
from controller.told_state import Paired

PAIR_S = 180 * 86_400.0  # [s] of trusted time that a pairing holds: a season
NAME_MOST = 40
ID = re.compile(r"[0-9a-f]{8}")
DIGEST = re.compile(r"[0-9a-f]{64}")
ROLES = ("operator", "helper")


def pair(run: Run, order: Order) -> Reply:
    """Let one browser in from now on.

    The order's `pair` is the new id, `secret_sha256` what its name hashes to.
    """
    sound = ID.fullmatch(order.pair) and DIGEST.fullmatch(order.secret_sha256)
    if not sound or order.role not in ROLES or len(order.name) > NAME_MOST:
        return Reply(status="invalid", reason="pair", text="This is no pairing.")
    holds = holding(run)
    if order.pair in holds:
        return Reply(status="invalid", reason="pair", text="This pairing is there already.")
    if len(holds) >= PAIRS_MOST:
        text = f"{PAIRS_MOST} browsers are paired: withdraw one first (thirstline pair --list)."
        return Reply(status="refused", reason="too_many", text=text)
    made = Paired(
        role=order.role,
        name=order.name,
        secret_sha256=order.secret_sha256,
        since_utc_s=run.state.at_utc_s,
        since_trusted_s=run.trusted_s,
    )
    run.state.pairs = {**holds, order.pair: made}  # a new one: others read it at any time
    text = f"{order.name or 'A browser'} is let in as {order.role} ({order.pair})."
    return Reply(status="accepted", reason="paired", text=text, note=text)


def unpair(run: Run, order: Order) -> Reply:
    """Let one browser in no more."""
    if order.pair not in run.state.pairs:
        return Reply(status="unknown", reason="no_such_pair", text="There is no such pairing.")
    gone = run.state.pairs[order.pair]
    run.state.pairs = {k: v for k, v in run.state.pairs.items() if k != order.pair}
    whose = gone.name or f"the unnamed {gone.role}"
    text = f"Let in no more: {whose} ({order.pair}). That browser has to pair anew."
    return Reply(status="accepted", reason="withdrawn", text=text, note=f"withdrew {order.pair}")


def holding(run: Run) -> dict[str, Paired]:
    """The pairings that hold now, by id."""
    now_s = run.trusted_s
    return {
        name: paired
        for name, paired in run.state.pairs.items()
        if now_s - paired.since_trusted_s < PAIR_S
    }


def pairs_json(pairs: dict[str, Paired], instant: Callable[[float], str | None]) -> list[Any]:
    """The pairings for people: never what they hash to."""
    return [
        {"id": name, "role": one.role, "name": one.name, "since": instant(one.since_utc_s)}
        for name, one in pairs.items()
    ]


PAIRS: dict[OrderKind, Callable[[Run, Order], Reply]] = {
    OrderKind.PAIR: pair,
    OrderKind.UNPAIR: unpair,
}
