"""What would change a bed's decision, as page and shell say it."""

from __future__ import annotations

import re
from typing import Any

from api.page.words import Tongue

RAIN = re.compile(r"(\d+) mm of rain")


def changes(state: dict[str, Any], tongue: Tongue) -> list[str]:
    """The sentences of `would_change`, rain in the garden's own unit; none where there are none."""
    told = [str(one["text"]) for one in state.get("would_change", ())]
    if not tongue.us:
        return told
    return [RAIN.sub(lambda hit: f"{tongue.depth(float(hit[1]))} of rain", one) for one in told]
