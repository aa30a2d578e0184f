"""Fruit that was picked: told, kept for the season book, taken back."""

from __future__ import annotations

from datetime import date

from controller import pick_orders
from controller.effects import Picked
from controller.events import Order
from controller.hand_orders import Reply
from controller.run import Run
from controller.watering.words import bed_name

KG_MOST = 1000.0  # of one pick of one variety: beyond it is a slip of the pen
FRUIT_MOST = 10_000
BACK_MOST_D = 400  # a pick that lies further back is of another book
REMEMBERED = 120  # picks of a bed that can still be taken back


def pick(run: Run, bed: str, order: Order) -> Reply:
    """A pick: one of a day to come is planned, one of today or before is fruit for the book.

    Args:
        run: the engine's working set.
        bed: whose.
        order: with the day `on` and, of fruit that was picked, `kg` [kg], `cracked` and
            `black_ended` [fruit] and the `variety`.
    """
    today = run.local_day(run.state.at_utc_s).toordinal()
    try:
        day = date.fromisoformat(order.on).toordinal()
    except ValueError:
        return _invalid("on", "A day is written like 2026-08-01.")
    if day > today:
        if order.kg is not None:
            return _invalid("on", "That day is still to come: nothing was picked on it yet.")
        return pick_orders.plan(run, bed, order.on)
    return _picked(run, bed, order, day, today)


def _picked(run: Run, bed: str, order: Order, day: int, today: int) -> Reply:
    setting, memory = run.garden.beds[bed], run.state.beds[bed]
    if order.kg is None:
        text = "Say how many kg were picked; only a day to come can be planned without."
        return _invalid("kg", text)
    fault = _fault(order)
    if fault is not None:
        return fault
    if day < today - BACK_MOST_D or day < setting.transplanted.toordinal():
        return _invalid("on", f"{bed_name(bed)} did not stand on that day.")
    if order.variety and setting.varieties and order.variety not in setting.varieties:
        grown = ", ".join(setting.varieties)
        return _invalid("variety", f"{bed_name(bed)} grows {grown} by the garden file.")
    memory.picked = [*memory.picked, day][-REMEMBERED:]
    if day in memory.picks:  # what was planned is done: it need not be kept dry any more
        pick_orders.drop(run, bed, order.on)
    entry = Picked(
        bed=bed,
        on=order.on,
        kg=order.kg,
        cracked=order.cracked or 0,
        black_ended=order.black_ended or 0,
        variety=order.variety,
    )
    said = f"{order.kg:g} kg{f' of {order.variety}' if order.variety else ''} picked on {order.on}"
    bad = [
        f"{many} {words}"
        for many, words in ((entry.cracked, "cracked"), (entry.black_ended, "black at the end"))
        if many
    ]
    said += f", {' and '.join(bad)}" if bad else ""
    text = f"{bed_name(bed)}: {said}. It stands in the season book."
    return Reply(status="accepted", reason="picked", text=text, note=said, effect=entry)


def _fault(order: Order) -> Reply | None:
    if order.kg is None or not 0.0 < order.kg <= KG_MOST:
        return _invalid("kg", f"A pick weighs above 0 and at most {KG_MOST:.0f} kg.")
    for name, many in (("cracked", order.cracked), ("black_ended", order.black_ended)):
        if many is not None and not 0 <= many <= FRUIT_MOST:
            return _invalid(name, f"Count the fruit: 0 to {FRUIT_MOST}.")
    return None


def forget(run: Run, bed: str, order: Order) -> Reply:
    """Take a plan back, or else the last pick of that day out of the book.

    Args:
        run: the engine's working set.
        bed: whose.
        order: with the day `on`.
    """
    planned = pick_orders.drop(run, bed, order.on)
    if planned.status == "accepted":
        return planned
    memory = run.state.beds[bed]
    try:
        day = date.fromisoformat(order.on).toordinal()
    except ValueError:
        return planned
    if day not in memory.picked:
        text = f"{bed_name(bed)} has no pick on that day, planned or done."
        return _invalid("on", text)
    last = len(memory.picked) - 1 - memory.picked[::-1].index(day)
    memory.picked = [one for index, one in enumerate(memory.picked) if index != last]
    entry = Picked(bed=bed, on=order.on, taken_back=True)
    text = f"{bed_name(bed)}: the last pick told of {order.on} is out of the book."
    return Reply(
        status="accepted",
        reason="taken_back",
        text=text,
        note=f"no pick on {order.on} after all",
        effect=entry,
    )


def note(run: Run, bed: str, order: Order) -> Reply:
    """A few words of a person on a bed, for the season book.

    Args:
        run: the engine's working set.
        bed: whose.
        order: with the words in `text`.
    """
    del run
    words = " ".join(order.text.split())
    if not words:
        return _invalid("text", "A note needs its words.")
    return Reply(status="accepted", reason="noted", text=f"{bed_name(bed)}: noted.", note=words)


def _invalid(reason: str, text: str) -> Reply:
    return Reply(status="invalid", reason=reason, text=text)
