"""A walk of another season: what stood a winter is asked to be walked again, and stays armed.

Frost splits lines and valves that nobody looks at. The old walk still counts, so plants do not dry
while nobody comes; the limits and the flow checks hold as ever.
"""

from __future__ import annotations

from controller.proving.arming import OK, walk_of
from controller.run import Run
from controller.watering.words import bed_name

STALE_D = 120  # [d] from the walk to the planting: a winter lies between. Our own choice
ALERT = "walk_stale"


def stale(run: Run) -> list[str]:
    """The beds whose valve was walked for other plants, in order; cleared ones are left out."""
    return [bed for bed in run.garden.beds if _is_stale(run, bed)]


def mind_season(run: Run) -> None:
    """Raise and end the alert, with the beds in its words."""
    left = stale(run)
    if not left:
        run.end_alert(ALERT)
        return
    names = ", ".join(bed_name(bed) for bed in left)
    text = f"Walked before the winter: {names}. Look for frost damage, then walk again."
    stands = run.state.alerts.get(ALERT)
    if stands is not None and stands.text != text:
        run.state.alerts.pop(ALERT)
    run.raise_alert("walk_stale", text)


def _is_stale(run: Run, bed: str) -> bool:
    walked, setting = walk_of(run, bed), run.garden.beds[bed]
    if walked is None or walked.verdict != OK:
        return False
    if setting.cleared is not None and run.state.day >= setting.cleared.toordinal():
        return False
    walked_day = run.local_day(walked.at_utc_s).toordinal()
    return setting.transplanted.toordinal() - walked_day >= STALE_D
