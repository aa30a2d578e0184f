"""What the record keeps of stops: not each of many, while every one of them closes.

Rows of orders are kept for good. Whoever stops the same again within ten seconds, where nothing
ran, gets the same answer and the same closes, but no row of his own: one at the end of the burst
tells how many there were.
"""

from __future__ import annotations

from controller.events import Order
from controller.run import Run
from controller.stopping import held_s
from controller.told_state import StopBurst

BURST_S = 10.0  # between two stops of one burst
BURST_MOST_S = 600.0  # a burst that goes on is told anew
CALLERS_MOST = 64  # whose last stops are remembered: more than may come in at once
ALL = ""  # in a burst's list of beds


def is_repeat(run: Run, order: Order, beds: list[str]) -> bool:
    """Whether a stop only says again what its caller said a moment ago; it is counted.

    Args:
        run: the engine's working set.
        order: the stop.
        beds: that it stops.
    """
    stops, now_s = run.state.stops, run.trusted_s
    runs = run.state.proving.active is not None or any(one in run.state.waterings for one in beds)
    lets = any(held_s(run, one) is None for one in beds)  # it was let go on since
    burst, bed = stops.get(order.who), order.bed or ALL
    if burst is not None and not _goes_on(burst, now_s):
        _tell(run, order.who, burst)
        burst = None
    if burst is None:
        stops.pop(order.who, None)
        stops[order.who] = StopBurst(since_trusted_s=now_s, last_trusted_s=now_s, beds=[bed])
        for gone in list(stops)[:-CALLERS_MOST]:
            _tell(run, gone, stops.pop(gone))
        return False
    burst.last_trusted_s = now_s
    if runs or lets or not {bed, ALL} & set(burst.beds):
        burst.beds = sorted({*burst.beds, bed})
        return False
    burst.repeats += 1
    return True


def tell_ended(run: Run) -> None:
    """Tell of bursts that are over; what has nothing to tell stays until its caller's next stop."""
    for who, burst in list(run.state.stops.items()):
        if burst.repeats and not _goes_on(burst, run.trusted_s):
            _tell(run, who, run.state.stops.pop(who))


def _goes_on(burst: StopBurst, now_s: float) -> bool:
    lately = 0.0 <= now_s - burst.last_trusted_s < BURST_S
    return lately and now_s - burst.since_trusted_s < BURST_MOST_S


def _tell(run: Run, who: str, burst: StopBurst) -> None:
    if burst.repeats:
        lasted_s = burst.last_trusted_s - burst.since_trusted_s
        times = "once more" if burst.repeats == 1 else f"{burst.repeats} times more"
        text = f"{who}: close, {times} within {lasted_s:.0f} s"
        numbers = {"repeats": float(burst.repeats)}
        run.note("order", None, "stop_repeated", text, numbers, durable=True)
