"""What a replay came to, as a table for people."""

from __future__ import annotations

from typing import Any

from sim.replay import PolicyRun, Replay, season_json

BAR_WIDTH = 30


def _bar(litres: float, most: float) -> str:
    return "#" * max(1, round(BAR_WIDTH * litres / most)) if most > 0.0 else ""


def _policy_lines(runs: list[PolicyRun]) -> list[str]:
    numbers: list[dict[str, Any]] = [one.json() for one in runs]
    most = max((one["litres"] for one in numbers), default=0.0)
    lines = [f"{'policy':<13}{'litres':>8} {'waterings':>10} {'past floor':>11} {'yield':>7}"]
    for one in numbers:
        past = sum(bed["days_past_floor"] for bed in one["beds"].values())
        lines.append(
            f"{one['name']:<13}{one['litres']:>8.0f} {one['waterings']:>10} {past:>6} dawns "
            f"{100.0 * one['relative_yield']:>5.0f} %"
        )
        lines.append(f"  {_bar(one['litres'], most)}")
    return lines


def _bed_lines(one: dict[str, Any]) -> list[str]:
    lines = [
        "",
        f"{one['name']}, bed by bed",
        f"{'bed':<12}{'litres':>8}{'waterings':>11}{'days between':>14}{'drained':>9}"
        f"{'driest':>8}{'yield':>8}",
    ]
    for name, bed in one["beds"].items():
        between = bed["median_days_between"]
        shown = "-" if between is None else f"{between:.1f}"
        lines.append(
            f"{name:<12}{bed['litres']:>8.0f}{bed['waterings']:>11}{shown:>14}"
            f"{bed['drained_l']:>7.0f} L{100.0 * bed['max_depletion_frac']:>6.0f} %"
            f"{100.0 * bed['relative_yield']:>6.0f} %"
        )
    return lines


def as_text(replay: Replay, runs: list[PolicyRun]) -> str:
    """A replay for people: the policies side by side, then each bed.

    Args:
        replay: what was replayed.
        runs: what each policy came to.

    Returns:
        Lines of at most 80 columns.
    """
    season: dict[str, Any] = season_json(replay)
    kind = "a sure world, exactly as the garden file says" if replay.sure else "an unsure world"
    lines = [
        f"{season['source']}, {season['from']} to {season['to']}: {season['rain_mm']:.0f} mm of "
        f"rain, ETo {season['eto_mm']:.0f} mm.",
        f"Judged by {kind} (seed {replay.seed}).",
        "",
        *_policy_lines(runs),
    ]
    for one in runs:
        lines += _bed_lines(one.json())
    if season["estimated"]:
        lines += ["", "Filled in:", *(f"- {line}" for line in season["estimated"])]
    return "\n".join(lines)
