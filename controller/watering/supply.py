"""The supply: no litre in two beds, one after the other, is no fault of their valves.

Then nothing opens by itself for half an hour, and the next to be judged tries again; each try that
comes dry doubles the wait, up to two hours, so that a day without water leaves starts for the first
hour with it. What the beds missed is not made up: they are judged anew, within the same limits. A
person may order a try at any time.
"""

from __future__ import annotations

from controller.run import Run

SUPPLY_RESTS_S = 1800.0
SUPPLY_RESTS_MOST_S = 7200.0
DRY_BEDS = 2


def came_dry(run: Run, bed: str) -> bool:
    """Remember that a bed's valve gave nothing.

    Args:
        run: the engine's working set.
        bed: whose pulse ended without a litre by the meter.

    Returns:
        True where so many beds came dry since water last flowed that it is the supply; its alert
        stands then in place of theirs.
    """
    state = run.state
    if bed not in state.dry_beds:
        state.dry_beds.append(bed)
    if len(state.dry_beds) < DRY_BEDS:
        return False
    for dry in state.dry_beds:
        if dry in run.garden.beds:
            run.end_alert("valve_stuck_closed", dry, run.garden.beds[dry].valve)
    rest(
        run,
        "No water came in two beds: the supply is gone. Look at tap, tank and filter. It is tried "
        "again within two hours.",
    )
    return True


def rest(run: Run, text: str) -> None:
    """Let nothing open by itself for a while, longer after each try in a row.

    Args:
        run: the engine's working set.
        text: what the alert says.
    """
    state = run.state
    rests_s = min(SUPPLY_RESTS_S * 2.0**state.supply_tries, SUPPLY_RESTS_MOST_S)
    state.supply_rests_trusted_s = run.trusted_s + rests_s
    state.supply_tries = min(state.supply_tries + 1, 8)
    run.raise_alert("supply_lost", text)


def water_came(run: Run) -> None:
    """The meter turned for a bed: the supply is there."""
    state = run.state
    if state.dry_beds or state.supply_rests_trusted_s is not None:
        state.dry_beds.clear()
        state.supply_tries = 0
        if state.supply_rests_trusted_s is not None:
            state.supply_rests_trusted_s, run.nudge = None, True
            run.end_alert("supply_lost")


def supply_rests(run: Run) -> bool:
    """Whether the supply was found empty and is not tried again yet."""
    until_s = run.state.supply_rests_trusted_s
    return until_s is not None and not run.trusted_s >= until_s
