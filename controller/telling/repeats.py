"""Orders that carry a key of their sender's: done once, from whichever connection, over restarts.

Such an order's id is `key-<slot>-<print>`: the slot is made of who sent it under which key, the
print of what was asked. The answer is kept with it, the last `KEPT_MOST` of each sender: however
many keys one sends, another's stay. An order whose answer never came before a restart may have
moved water, so its repeat is refused, not done.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import replace

from controller.effects import KEYED, Answer, Effect
from controller.events import Order
from controller.state import EngineState
from controller.told_state import PAIRS_MOST, Keyed

KEPT_MOST = 32  # of one sender
SENDERS_MOST = PAIRS_MOST + 4  # those that may come in at once: the paired, the token, the board


def keyed_id(slot: Iterable[str], meant: bytes) -> str:
    """The id of an order that carries a key.

    Args:
        slot: who sent it and its key; neither can be read from the id.
        meant: the request: method, path and body.
    """
    whose = hashlib.sha256("\n".join(slot).encode("utf-8", "replace")).hexdigest()[:24]
    return f"{KEYED}{whose}-{hashlib.sha256(meant).hexdigest()[:16]}"


def known(state: EngineState, order: Order) -> Answer | None:
    """The answer to a repeat; None for an order that is new, which is remembered from now on."""
    if not order.order.startswith(KEYED):
        return None
    slot = order.order.rpartition("-")[0]
    before = state.keyed.get(slot)
    if before is None:
        state.keyed[slot] = Keyed(order=order.order, who=order.who)
        _let_go(state, order.who)
        return None
    if before.order != order.order:
        text = "This Idempotency-Key belongs to another request."
        return Answer(order=order.order, status="invalid", reason="other_request", text=text)
    if before.answer is not None:
        return before.answer
    text = "This order was begun and got no answer. Look at the record before you order again."
    return Answer(order=order.order, status="refused", reason="begun_before", text=text)


def _let_go(state: EngineState, who: str) -> None:
    """Forget a sender's oldest keys beyond so many; those of nobody known go with anybody's."""
    own = [slot for slot, one in state.keyed.items() if one.who in {who, ""}]
    for gone in own[:-KEPT_MOST]:
        del state.keyed[gone]
    for gone in list(state.keyed)[: -KEPT_MOST * SENDERS_MOST]:  # of browsers withdrawn since
        del state.keyed[gone]


def keep(state: EngineState, effects: Iterable[Effect]) -> None:
    """Keep the answers that orders with a key got; what was not recorded may be tried again."""
    for effect in effects:
        if not isinstance(effect, Answer) or not effect.order.startswith(KEYED):
            continue
        slot = effect.order.rpartition("-")[0]
        before = state.keyed.get(slot)
        if before is None or before.order != effect.order or before.answer is not None:
            continue
        if effect.status == "unrecorded":
            del state.keyed[slot]
        elif effect.reason != "begun_before":
            state.keyed[slot] = replace(before, answer=effect)
