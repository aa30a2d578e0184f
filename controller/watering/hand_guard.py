"""The guard as a person's order meets it: may this bed be watered by hand now, and if not, when.

The order itself and what the page says before it both ask here, so that no page promises what the
order would then be refused. Litres, seconds.
"""

from __future__ import annotations

from dataclasses import replace

from controller.run import QUIET_S, Run
from controller.watering.guard import busy_beds, permit_pulse
from controller.watering.leasing import fits_master
from controller.watering.limits import ON_LEAST_S, Refused, Verdict


def permit_by_hand(run: Run, bed: str, want_l: float, open_s: float) -> Verdict:
    """Ask the guard for a watering by hand, whole.

    Args:
        run: the engine's working set; not changed.
        bed: whose valve.
        want_l: all that is wanted [L].
        open_s: of its first pulse [s].

    Returns:
        The guard's verdict; an order waits for no other bed, and never beside its own watering.
    """
    verdict = permit_pulse(run, bed, want_l, open_s)
    if verdict.refused is Refused.QUIET_START:
        wait_s = run.state.started_mono_s + QUIET_S - run.state.mono_s
        return replace(verdict, next_possible_s=wait_s)
    if verdict.refused is None and (bed in run.state.waterings or not _room(run, open_s)):
        return replace(verdict, refused=Refused.BUSY, reserved_l=0.0)
    return verdict


def barred_by_hand(run: Run, bed: str) -> Verdict | None:
    """Why not even the smallest watering by hand may begin now; None where it may.

    Args:
        run: the engine's working set; not changed.
        bed: whose valve.
    """
    least_l = run.garden.beds[bed].flow_l_min * ON_LEAST_S / 60.0
    verdict = permit_by_hand(run, bed, least_l, ON_LEAST_S)
    return None if verdict.permitted else verdict


def _room(run: Run, pulse_s: float) -> bool:
    """Whether a bed more may drink now, and the master's opening has room for it."""
    few = len(busy_beds(run)) < run.garden.garden.beds_at_once
    return few and fits_master(run, pulse_s)
