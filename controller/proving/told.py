"""Walks and proofs as they cross every border: one JSON-able picture."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from controller.proving.arming import armed, baseline_stands, unarmed, walk_of
from controller.proving.memory import Active, Proving
from controller.proving.proof import EVERY_S, provable
from controller.proving.walk import bed_words
from controller.proving.walk_orders import backflow_words
from controller.run import Run
from controller.watering.words import bed_name

Instant = Callable[[float], str]


def walk_json(run: Run, instant: Instant) -> dict[str, Any]:
    """The walk, what came of it bed by bed, and the weekly proof.

    Args:
        run: the engine's working set.
        instant: Unix seconds as they are written.
    """
    proving = run.state.proving
    return {
        "armed": not unarmed(run),
        "needed": not run.state.armed,
        "now": None if proving.active is None else _now(run, proving.active),
        "said": proving.said,
        "beds": {bed: _bed(run, bed, instant) for bed in run.garden.beds},
        "all_closed": _baseline(run, instant),
        "backflow": _backflow(proving, instant),
        "proof": _proof(run, proving, instant),
    }


def _now(run: Run, active: Active) -> dict[str, Any]:
    here = bed_name(active.at)
    kind = "The walk" if active.kind == "walk" else "The weekly proof"
    texts = {
        "next": f"{kind} goes on.",
        "waits": f"{kind} waits: {active.waits_for or 'the valves'}.",
        "closing": f"{kind}: {here} closes.",
        "asking": f"Did {here}, and only {here}, get wet?",
    }
    opening = {
        "walk": f"{here} is open: its line fills, then its flow is measured. Look what gets wet.",
        "gate": "The master is open, every bed is closed: nothing may flow for three minutes.",
        "still": "Every valve is closed: nothing may flow for three minutes.",
        "shut": f"{here} is open behind the closed master: nothing may flow.",
    }
    return {
        "kind": active.kind,
        "bed": active.at if active.test in {"walk", "shut"} else None,
        "test": active.test,
        "phase": active.phase,
        "asks": active.at if active.phase == "asking" else None,
        "left": len(active.todo),
        "text": texts.get(active.phase) or opening[active.test],
    }


def _bed(run: Run, bed: str, instant: Instant) -> dict[str, Any]:
    walked = walk_of(run, bed)
    care = run.state.care
    told: dict[str, Any] = {
        "armed": armed(run, bed),
        "verdict": None,
        "text": bed_words(run, bed),
        "probes_answered": {
            name: name in care and bool(care[name].answered_frac)
            for name in run.garden.beds[bed].probes
        },
    }
    if walked is None:
        return told
    return {
        **told,
        "verdict": walked.verdict,
        "at": instant(walked.at_utc_s),
        "who": walked.who,
        "flow_l_min": _round(walked.flow_l_min),
        "expected_l_min": _round(walked.expected_l_min),
        "fill_l": _round(walked.fill_l),
        "confirmed": walked.confirmed or None,
        "trend_l_min": _round(walked.trend_l_min),
    }


def _baseline(run: Run, instant: Instant) -> dict[str, Any] | None:
    baseline = run.state.proving.baseline
    if baseline is None:
        return None
    return {
        "at": instant(baseline.at_utc_s),
        "who": baseline.who,
        "verdict": baseline.verdict,
        "flow_l_min": _round(baseline.flow_l_min),
        "stands": baseline_stands(run),
    }


def _backflow(proving: Proving, instant: Instant) -> dict[str, Any] | None:
    told = proving.backflow
    if told is None:
        return None
    return {
        "device": told.device,
        "tested": told.tested or None,
        "who": told.who,
        "at": instant(told.at_utc_s),
        "text": backflow_words(told.device, told.tested),
    }


def _proof(run: Run, proving: Proving, instant: Instant) -> dict[str, Any]:
    last_s = proving.since_trusted_s if proving.sound_trusted_s is None else proving.sound_trusted_s
    due = None
    if proving.proofs and last_s is not None and provable(run):
        due_utc_s = run.state.at_utc_s + last_s + EVERY_S - run.trusted_s
        due = instant(60.0 * round(due_utc_s / 60.0))
    last = proving.last
    return {
        "provable": provable(run),
        "due_from": due,
        "last": None
        if last is None
        else {"at": instant(last.at_utc_s), "code": last.code, "text": last.text},
    }


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
