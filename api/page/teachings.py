"""Words for what a bed learned of itself: its full point, its thirst, what raw probes are worth."""

from __future__ import annotations

from typing import Any

from api.page.words import Tongue, number, utc_s_of
from controller.sensing.uncalibrated import SPELLS
from controller.us_units import MM_PER_IN

SAME_FRAC = 0.02  # plants whose thirst is nearer to the book's than this drink as it says
LEAST_SD_M3_M3 = 0.01  # what is known better is not said finer


def full_words(state: dict[str, Any]) -> str:
    """`0.31 by its own probes, ±0.02 (0.28 by the garden file)`; empty where nothing is told.

    Args:
        state: the bed's part of the view; water contents in m3/m3.
    """
    learned = state.get("learned") or {}
    full, told = number(learned.get("full_m3_m3")), number(learned.get("full_told_m3_m3"))
    if full is None or told is None:
        return ""
    if utc_s_of(learned.get("full_since")) is None:
        return f"{told:.2f} by the garden file; its probes have not moved that"
    sd = number(learned.get("full_sd_m3_m3"))
    sure = "" if sd is None else f", ±{max(LEAST_SD_M3_M3, sd):.2f}"
    return f"{full:.2f} by its own probes{sure} ({told:.2f} by the garden file)"


def _full_row(state: dict[str, Any]) -> tuple[str, str]:
    """The full point for a narrow table: `full at, by its probes`, `0.31 ±0.02`."""
    words = full_words(state).split(" (")[0]
    amount, _, rest = words.partition(" by ")
    if not rest.startswith("its own probes"):
        return "full at, by the file", amount
    return "full at, by its probes", amount + rest.removeprefix("its own probes").replace(",", "")


def wilting_words(state: dict[str, Any]) -> str:
    """`0.13 at most: it still drank there (0.14 by the garden file)`; empty where nothing moved it.

    Args:
        state: the bed's part of the view; water contents in m3/m3.
    """
    learned = state.get("learned") or {}
    drank, told = number(learned.get("drank_at_m3_m3")), number(learned.get("wilting_told_m3_m3"))
    wilts = number(learned.get("wilting_m3_m3"))
    if drank is None or told is None or wilts is None or not drank <= wilts < told:
        return ""
    return f"{wilts:.3f} at most: it still drank there ({told:.3f} by the garden file)"


def thirst_words(state: dict[str, Any]) -> str:
    """`8 % less than the book says`; empty where nothing is told."""
    thirst = number((state.get("learned") or {}).get("thirst"))
    if thirst is None:
        return ""
    if abs(thirst - 1.0) < SAME_FRAC:
        return "as the book says"
    return (
        f"{100.0 * abs(thirst - 1.0):.0f} % {'more' if thirst > 1.0 else 'less'} than the book says"
    )


def dose_words(state: dict[str, Any]) -> str:
    """`80 % of a dose stays among the roots; the next one is cut`; empty where all stays."""
    learned = state.get("learned") or {}
    stays, cut = number(learned.get("dose_stays_frac")), number(learned.get("dose_cut_frac"))
    told = []
    if stays is not None and stays <= 1.0 - SAME_FRAC:
        told.append(f"{100.0 * stays:.0f} % of a dose stays among the roots")
    if cut:
        told.append(f"the next one is cut by {100.0 * cut:.0f} %, since the last ran through")
    return "; ".join(told)


def _raw_words(probe: dict[str, Any], tongue: Tongue) -> str:
    worth = number(probe.get("counts_per_mm"))
    if worth is None:
        return f"not yet known, {probe['dry_spells']} of {SPELLS} dry spells seen"
    if tongue.us:
        return f"{worth * MM_PER_IN:.3g} counts are 1 in of water"
    return f"{worth:.3g} counts are 1 mm of water"


def rows(state: dict[str, Any], tongue: Tongue) -> list[tuple[str, str]]:
    """The same as rows of the card's table."""
    told = [_full_row(state), ("its plants drink", thirst_words(state).removesuffix(" says"))]
    raw = (state.get("learned") or {}).get("probes", {})
    told += [(f"probe {name}", _raw_words(probe, tongue)) for name, probe in raw.items()]
    return [(name, words) for name, words in told if words]


def sentences(state: dict[str, Any], tongue: Tongue) -> list[str]:
    """The same as sentences: for the shell and the page of what was learned."""
    full, thirst, wilting = full_words(state), thirst_words(state), wilting_words(state)
    dose = dose_words(state)
    since_s = utc_s_of((state.get("learned") or {}).get("full_since"))
    since = "" if since_s is None else f", since {tongue.when(since_s)}"
    raw = (state.get("learned") or {}).get("probes", {})
    return [
        *([f"Full at {full}{since}."] if full else []),
        *([f"It wilts at {wilting}."] if wilting else []),
        *([f"Its plants drink {thirst}."] if thirst else []),
        *([f"By its deep probe: {dose}."] if dose else []),
        *(f"Raw probe {name}: {_raw_words(probe, tongue)}." for name, probe in raw.items()),
    ]
