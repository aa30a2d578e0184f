"""Orders that carry a key of their sender's: done once, from whichever connection, over restarts.

Such an order's id is `key-<slot>-<print>`: the slot is made of who sent it under which key, the
print of what was asked. The answer is kept with it, the last `KEPT_MOST` of them. An order whose
answer never came before a restart may have moved water, so its repeat is refused, not done.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from controller.effects import KEYED, Answer, Effect
from controller.events import Order
from controller.state import EngineState
from controller.told_state import Keyed

KEPT_MOST = 128


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
        state.keyed[slot] = Keyed(order=order.order)
        for gone in list(state.keyed)[:-KEPT_MOST]:
            del state.keyed[gone]
        return None
    if before.order != order.order:
        text = "This Idempotency-Key belongs to another request."
        return Answer(order=order.order, status="invalid", reason="other_request", text=text)
    if before.answer is not None:
        return before.answer
    text = "This order was begun and got no answer. Look at the record before you order again."
    return Answer(order=order.order, status="refused", reason="begun_before", text=text)


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
            state.keyed[slot] = Keyed(order=effect.order, answer=effect)
