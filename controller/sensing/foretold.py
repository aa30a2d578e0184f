"""Whose word on the sky to come counts when: a person's before that of the `outlook` topic.

What was typed counts for the time it speaks of; for all other time the topic does. Rain within a
span is taken as spread evenly over it, so a span of the topic that is typed over in part keeps its
share. Nothing has to be tidied away: a span is over by its own end.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from controller.events import OutlookSpan
from controller.state import SkyState

HOUR_S = 3600.0


def ends_utc_s(span: OutlookSpan) -> float:
    """When a span is over [s, Unix]."""
    return span.from_utc_s + HOUR_S * span.hours


def foretold_by(sky: SkyState) -> Sequence[OutlookSpan]:
    """The spans that count, the typed ones first."""
    typed = sky.typed
    if typed is None:
        return sky.spans
    return [*typed.spans, *beside(sky.spans, typed.spans)]


def beside(told: Iterable[OutlookSpan], typed: Iterable[OutlookSpan]) -> list[OutlookSpan]:
    """What is left of the topic's spans where a person said nothing.

    Args:
        told: the topic's spans.
        typed: the person's.

    Returns:
        Pieces of `told`, each with its share of the rain by its length; odds and temperatures as
        they were.
    """
    left = list(told)
    for one in typed:
        left = [piece for span in left for piece in _without(span, one)]
    return left


def _without(span: OutlookSpan, cut: OutlookSpan) -> list[OutlookSpan]:
    begins_s, ends_s = span.from_utc_s, ends_utc_s(span)
    cut_from_s, cut_to_s = cut.from_utc_s, ends_utc_s(cut)
    if cut_to_s <= begins_s or cut_from_s >= ends_s:
        return [span]
    pieces = ((begins_s, min(ends_s, cut_from_s)), (max(begins_s, cut_to_s), ends_s))
    return [_piece(span, from_s, to_s) for from_s, to_s in pieces if to_s > from_s]


def _piece(span: OutlookSpan, from_s: float, to_s: float) -> OutlookSpan:
    hours = (to_s - from_s) / HOUR_S
    return replace(span, from_utc_s=from_s, hours=hours, rain_mm=span.rain_mm * hours / span.hours)
