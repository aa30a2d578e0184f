"""What a bed comes to that gets no water until some day: its floor, and how much is used by then.

Pure. By today's use and without rain; past the thirst line plants drink less and less, in
proportion to what is left (FAO-56 eq. 84). Fractions are of the water that a bed holds.
"""

from __future__ import annotations

import math
from typing import Any

from api.page.words import DAY_S, Tongue, number


def used_frac(depletion_frac: float, line_frac: float, use_frac_d: float, days: float) -> float:
    """How much of its water a bed will have used [0..1].

    Args:
        depletion_frac: used now [0..1].
        line_frac: its thirst line, above 0 and below 1.
        use_frac_d: of one day before that line, above 0.
        days: without water [d].
    """
    to_line_d = max(0.0, line_frac - depletion_frac) / use_frac_d
    if days <= to_line_d:
        return depletion_frac + use_frac_d * days
    from_frac = max(depletion_frac, line_frac)
    fades = math.exp(-use_frac_d * (days - to_line_d) / (1.0 - line_frac))
    return 1.0 - (1.0 - from_frac) * fades


def to_floor_d(
    depletion_frac: float, line_frac: float, use_frac_d: float, floor_frac: float
) -> float:
    """Days without water until a bed passes its floor; 0 where it is past it.

    Args:
        depletion_frac: used now [0..1].
        line_frac: its thirst line, above 0 and below 1.
        use_frac_d: of one day before that line, above 0.
        floor_frac: its floor, at least the line and below 1.
    """
    if depletion_frac >= floor_frac:
        return 0.0
    to_line_d = max(0.0, line_frac - depletion_frac) / use_frac_d
    from_frac = max(depletion_frac, line_frac)
    left = math.log((1.0 - from_frac) / (1.0 - floor_frac))
    return to_line_d + left * (1.0 - line_frac) / use_frac_d


def kept_dry_words(state: dict[str, Any], name: str, tongue: Tongue, until_utc_s: float) -> str:
    """When a bed passes its floor if it gets no water, and how much is used by then, in words.

    Args:
        state: of the bed.
        name: as people call it.
        tongue: the garden's words.
        until_utc_s: until then it gets none.

    Returns:
        `Without rain Wall passes its floor about Wed; by 26 Jul some 80 % of its water is used.`;
        empty where it does not come to its line, or where its use is not known.
    """
    depletion, line = number(state["depletion_frac"]), number(state["thirst_line_frac"])
    floor, use = number(state["floor_frac"]), number(state.get("day_use_frac"))
    if depletion is None or line is None or floor is None or use is None or not use > 0.0:
        return ""
    if not (0.0 < line <= floor < 1.0) or not depletion < 1.0:
        return ""
    days = (until_utc_s - tongue.now_utc_s) / DAY_S
    then = used_frac(depletion, line, use, days)
    used = f"by {tongue.day(until_utc_s)} some {100.0 * then:.0f} % of its water is used"
    if depletion >= floor:
        return f"{name} is past its floor already; without rain, {used}."
    if then >= floor:
        passes_s = tongue.now_utc_s + DAY_S * to_floor_d(depletion, line, use, floor)
        return f"Without rain {name} passes its floor about {tongue.day(passes_s)}; {used}."
    if then >= line:
        floor_words = f"its floor is {100.0 * floor:.0f} %"
        return f"Without rain {name} stays above its floor: {used}, {floor_words}."
    return ""
