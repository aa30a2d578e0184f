"""Rain and heat to come as a person types them, and where the sky's word comes from.

It can postpone a watering, as the `outlook` topic can; it opens no valve by itself. It is over by
its own end or when it is taken back; then the topic's word counts again.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import datetime
from typing import Any

from controller.bed_views import window_now
from controller.events import Order, OrderKind, OutlookSpan
from controller.hand_orders import Reply
from controller.run import Run
from controller.sensing.foretold import beside, ends_utc_s
from controller.sensing.sky_sources import possible
from controller.told_state import TypedSky
from controller.watering.decision import Reason
from controller.who_words import person

SPANS_MOST = 32  # as many as the topic may carry
AHEAD_MOST_S = 16 * 86_400.0  # our own bound: later is a slip of the pen
HOURS_MOST = 240.0
RAIN_MOST_MM = 500.0


def tell(run: Run, order: Order) -> Reply:
    """Take a person's word on the sky in the place of the one before."""
    fault = _fault(run, order.spans)
    if fault:
        return Reply(status="invalid", reason="spans", text=fault)
    sky = run.state.sky
    spans = tuple(sorted(order.spans, key=lambda span: span.from_utc_s))
    sky.typed = TypedSky(at_utc_s=run.state.at_utc_s, who=order.who, spans=spans)
    _ask_again(run)
    until = _when(run, max(ends_utc_s(span) for span in spans))
    note = f"the sky typed: {'; '.join(_words(run, span) for span in spans)}"
    text = (
        f"Noted: this counts until {until} for the time it speaks of, before any forecast. "
        "It can make a bed wait for rain, two nights running at most."
    )
    return Reply(status="accepted", reason="typed", text=text, note=note)


def forget(run: Run, order: Order) -> Reply:
    """Take it back."""
    del order
    if standing(run) is None:
        return Reply(status="refused", reason="none_typed", text="No sky is typed that still runs.")
    run.state.sky.typed = None
    _ask_again(run)
    text = f"What was typed counts no more. {_source(run)}"
    return Reply(status="accepted", reason="none_typed", text=text, note="the typed sky taken back")


def standing(run: Run) -> TypedSky | None:
    """The typed word, None once all of its spans are over."""
    typed = run.state.sky.typed
    if typed is None or all(ends_utc_s(span) <= run.state.at_utc_s for span in typed.spans):
        return None
    return typed


def _ask_again(run: Run) -> None:
    """Beds that wait for rain are judged anew on another word; the night counts once."""
    run.nudge = True
    window = window_now(run)
    for memory in run.state.beds.values():
        waits = memory.said.code == Reason.RAIN_COMING.value
        if waits and memory.judged_from_utc_s == window.from_utc_s:
            memory.judged_from_utc_s = None
            memory.postponed = max(0, memory.postponed - 1)


def _fault(run: Run, spans: tuple[OutlookSpan, ...]) -> str:
    now_s = run.state.at_utc_s
    if not 0 < len(spans) <= SPANS_MOST:
        return f"Say 1 to {SPANS_MOST} spans of time."
    if not all(_sound(span) for span in spans):
        return (
            f"A span has above 0 and at most {HOURS_MOST:.0f} hours, 0 to {RAIN_MOST_MM:.0f} mm, "
            "odds of 0 to 1, and -45 to 60 °C with the lowest below the highest."
        )
    if any(span.from_utc_s > now_s + AHEAD_MOST_S for span in spans):
        return f"A span begins within {AHEAD_MOST_S / 86_400.0:.0f} days from now."
    if any(ends_utc_s(span) <= now_s for span in spans):
        return "A span ends at a time to come."
    ends_s = -math.inf
    for span in sorted(spans, key=lambda one: one.from_utc_s):
        if span.from_utc_s < ends_s:
            return "Two spans overlap: say each time once."
        ends_s = ends_utc_s(span)
    return ""


def _sound(span: OutlookSpan) -> bool:
    low_c, high_c = span.tmin_c, span.tmax_c
    return (
        math.isfinite(span.from_utc_s)
        and 0.0 < span.hours <= HOURS_MOST
        and 0.0 <= span.rain_mm <= RAIN_MOST_MM
        and 0.0 <= span.chance_frac <= 1.0
        and all(one is None or possible("temp_c", one) for one in (low_c, high_c))
        and (low_c is None or high_c is None or low_c <= high_c)
    )


def _words(run: Run, span: OutlookSpan) -> str:
    rain = f"{span.rain_mm:g} mm at {100.0 * span.chance_frac:.0f} %"
    ends_c = [f"{one:g}" for one in (span.tmin_c, span.tmax_c) if one is not None]
    heat = f", {' to '.join(ends_c)} °C" if ends_c else ""
    begins, ends = _when(run, span.from_utc_s), _when(run, ends_utc_s(span))
    return f"{rain}{heat} from {begins} to {ends}"


def _when(run: Run, at_utc_s: float) -> str:
    """An instant on the garden's own clock, `Wed 15 Jul, 12:00`."""
    local = datetime.fromtimestamp(at_utc_s, run.garden.garden.zone)
    return f"{local:%a} {local.day} {local:%b}, {local:%H:%M}"


def _source(run: Run) -> str:
    """Where the sky's word comes from, in a sentence."""
    typed, now_s = standing(run), run.state.at_utc_s
    topic = any(ends_utc_s(span) > now_s for span in run.state.sky.spans)
    if typed is None:
        if topic:
            return "Rain to come is as the forecast has it that a script sends."
        return (
            "Nobody foretells rain: no watering waits for any. "
            "Windows of the next one reckon with rain as these weeks had it."
        )
    until_s = max(ends_utc_s(span) for span in typed.spans)
    said = f"Rain to come is as {person(typed.who)} typed it on {_when(run, typed.at_utc_s)}, "
    rest = "; for other time as the forecast has it that a script sends" if topic else ""
    return f"{said}until {_when(run, until_s)}{rest}."


def foretold_json(run: Run, instant: Callable[[float], str]) -> dict[str, Any]:
    """What is foretold and by whom, as it crosses every border.

    Args:
        run: the engine's working set.
        instant: writes an instant [s, Unix].

    Returns:
        from ("typed", "topic" or null), who, at, spans [{from, hours, rain_mm, chance, tmin_c,
        tmax_c, by}] that are not over, text.
    """
    typed, now_s, told = standing(run), run.state.at_utc_s, run.state.sky.spans
    mine = () if typed is None else typed.spans
    found = [(span, "typed") for span in mine]
    found += [(span, "topic") for span in beside(told, mine)]
    spans = [
        {
            "from": instant(span.from_utc_s),
            "hours": round(span.hours, 3),
            "rain_mm": round(span.rain_mm, 2),
            "chance": round(span.chance_frac, 3),
            "tmin_c": span.tmin_c,
            "tmax_c": span.tmax_c,
            "by": by,
        }
        for span, by in sorted(found, key=lambda one: one[0].from_utc_s)
        if ends_utc_s(span) > now_s
    ]
    first = "typed" if typed is not None else ("topic" if spans else None)
    return {
        "from": first,
        "who": None if typed is None else typed.who,
        "at": None if typed is None else instant(typed.at_utc_s),
        "spans": spans,
        "text": _source(run),
    }


SKIES: dict[OrderKind, Callable[[Run, Order], Reply]] = {
    OrderKind.OUTLOOK: tell,
    OrderKind.FORGET_OUTLOOK: forget,
}
