"""Which order of a person's word on one bed is answered by what."""

from __future__ import annotations

from collections.abc import Callable

from controller import hand_orders, mark_orders, turn_orders
from controller.book import telling
from controller.events import Order, OrderKind
from controller.hand_orders import Reply
from controller.run import Run

HAND: dict[OrderKind, Callable[[Run, str, Order], Reply]] = {
    OrderKind.SOIL: lambda run, bed, order: hand_orders.soil(run, bed, order.feel, order.depth_cm),
    OrderKind.LOOK: lambda run, bed, order: hand_orders.look(run, bed, order.leaves, order.when),
    OrderKind.FORGET_LOOKS: lambda run, bed, order: hand_orders.forget_looks(run, bed),
    OrderKind.STAGE: lambda run, bed, order: mark_orders.mark(run, bed, order.stage, order.on),
    OrderKind.FORGET_STAGE: lambda run, bed, order: mark_orders.unmark(run, bed, order.stage),
    OrderKind.POURED: lambda run, bed, order: turn_orders.poured(run, bed, order.litres),
    OrderKind.FORGET_POURED: lambda run, bed, order: turn_orders.unpoured(run, bed),
    OrderKind.MISS: lambda run, bed, order: turn_orders.miss(run, bed),
    OrderKind.FORGET_MISS: lambda run, bed, order: turn_orders.unmiss(run, bed),
    OrderKind.PICK: telling.pick,
    OrderKind.FORGET_PICK: telling.forget,
    OrderKind.NOTE: telling.note,
}
