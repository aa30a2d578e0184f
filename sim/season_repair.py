"""Closes short gaps in hours of weather, and says so.

Temperature, humidity, radiation and wind of a missing hour lie on a straight line between the
hours on both sides; its rain is taken as none, since nothing tells it. The rule is ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import pairwise

from sim.season_types import HOUR_S, HourRow

CSV_GAP_H = 3  # [h] the longest gap that is filled in a file or a store; ours
NAMED_GAPS = 6  # so many gaps are named one by one


def close_gaps(rows: Sequence[HourRow]) -> tuple[tuple[HourRow, ...], tuple[str, ...]]:
    """Fill whole missing hours.

    Args:
        rows: in order, whole hours apart.

    Returns:
        Consecutive hours, and a sentence if any was filled.
    """
    full = [rows[0]]
    gaps: list[tuple[float, int]] = []
    for before, after in pairwise(rows):
        count = round((after.at_utc_s - before.at_utc_s) / HOUR_S) - 1
        if count > 0:
            gaps.append((before.at_utc_s + HOUR_S, count))
        full.extend(_between(before, after, n / (count + 1)) for n in range(1, count + 1))
        full.append(after)
    return tuple(full), _said(gaps)


def _between(before: HourRow, after: HourRow, share: float) -> HourRow:
    """An hour between two others."""
    return HourRow(
        at_utc_s=before.at_utc_s + share * (after.at_utc_s - before.at_utc_s),
        temp_c=before.temp_c + share * (after.temp_c - before.temp_c),
        rain_mm=0.0,
        rh_pct=_mixed(before.rh_pct, after.rh_pct, share),
        solar_w_m2=_mixed(before.solar_w_m2, after.solar_w_m2, share),
        wind_m_s=_mixed(before.wind_m_s, after.wind_m_s, share),
    )


def _mixed(before: float | None, after: float | None, share: float) -> float | None:
    if before is None or after is None:
        return None
    return before + share * (after - before)


def _said(gaps: Sequence[tuple[float, int]]) -> tuple[str, ...]:
    """One sentence about all gaps."""
    if not gaps:
        return ()
    hours = sum(count for _, count in gaps)
    named = ", ".join(
        f"{datetime.fromtimestamp(at, tz=UTC):%Y-%m-%dT%H:%MZ} ({count} h)"
        for at, count in gaps[:NAMED_GAPS]
    )
    more = "" if len(gaps) <= NAMED_GAPS else f" and {len(gaps) - NAMED_GAPS} more"
    return (
        f"gaps: {hours} missing hours filled by straight lines, their rain taken as none:"
        f" {named}{more}",
    )
