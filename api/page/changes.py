"""What would change a bed's decision, as page and shell say it."""

from __future__ import annotations

from typing import Any

from api.page.words import Tongue


def changes(state: dict[str, Any], tongue: Tongue) -> list[str]:
    """The sentences of `would_change`, rain in the garden's own unit; none where there are none."""
    return [tongue.said(str(one["text"])) for one in state.get("would_change", ())]
