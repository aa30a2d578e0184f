"""What people say of a pause: no watering of its own until then."""

from __future__ import annotations

from controller import pausing
from controller.events import Order, OrderKind
from controller.hand_orders import Reply
from controller.run import Run
from controller.state import Pause
from controller.watering.settling import cut
from controller.watering.words import bed_name

PAUSE_STANDS = "pause_stands"  # who may only lengthen a pause asked for an earlier end


def begin(run: Run, order: Order) -> Reply:
    """Pause a bed or the garden, or give the pause that stands another end."""
    state, until_s = run.state, order.until_utc_s
    if until_s is None or not state.at_utc_s < until_s <= state.at_utc_s + pausing.PAUSE_MOST_S:
        text = "A pause needs an end that is still to come, within a year."
        return Reply(status="invalid", reason="until", text=text)
    asked = Pause(
        until_utc_s=until_s,
        until_trusted_s=run.trusted_s + (until_s - state.at_utc_s),
        why=order.why,
        called_trusted_s=run.trusted_s,
    )
    before = pausing.standing(run, order.bed)
    pause = pausing.merged(before, asked, only_longer=order.only_longer)
    if pause is None:
        text = "A pause stands that ends later. Only the operator may end it sooner."
        return Reply(status="refused", reason=PAUSE_STANDS, text=text)
    pausing.put(run, order.bed, pause)
    text = "Paused by a person: no watering of its own until the pause ends."
    named = text if order.bed is None else f"{bed_name(order.bed)}: {text}"
    run.raise_alert("paused", named, bed=order.bed)
    for bed in run.garden.beds if order.bed is None else (order.bed,):
        watering = state.waterings.get(bed)
        if watering is not None and watering.by == "policy":
            cut(run, bed, "paused")
    run.nudge = True
    return Reply(status="accepted", reason="paused", text=text, note="pause")


PAUSES = {OrderKind.PAUSE: begin}
