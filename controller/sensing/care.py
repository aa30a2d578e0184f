"""What is kept of a bed's last dose until its probes have answered it, and of each probe's answers.

Plain memory and plain rules; `controller/probe_care.py` asks them once an hour.
"""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping, Sequence

from controller.state import DoseTrial

NEW_DOSE_H = 3  # water after a longer pause is another dose
CROSSED_ENOUGH = 2  # answers to the other bed's dose that tell two swapped probes
CROSSED_RISE_M3_M3 = 0.012  # of a probe that has no water of its own to rise by
BRIDGED_H = 8  # a new level may be refused for hours before it is believed
EXCHANGED_M3_M3 = 0.012  # two probes that exchange levels so far apart within two hours,
EXCHANGED_DRY_H = 24.0  # where both beds have been dry so long,
EXCHANGED_FAR_M3_M3 = 0.05  # so far falls no soil in two hours once its water has come to rest:
# then it is enough that no dose can still move either probe,
ALIKE_M3_M3 = 0.010  # each at the other's old level by so much, are two swapped plugs
TRIAL_MOST_H = 40  # older doses are not asked about any more

HOUR_S = 3600.0


def dosed(
    trials: MutableMapping[str, DoseTrial],
    bed: str,
    depth_mm: float,
    began_utc_s: float,
    at_utc_s: float,
) -> None:
    """Note water that was given: it begins a trial of the bed's probes, or goes on with one.

    Args:
        trials: of all beds, changed in place.
        bed: whose.
        depth_mm: over the strip [mm]; nothing or less begins nothing.
        began_utc_s: when the watering began [s, Unix].
        at_utc_s: now [s, Unix].
    """
    if not depth_mm > 0.0:
        return
    trial = trials.get(bed)
    if trial is None or trial.after_h > NEW_DOSE_H:
        since_h = int(at_utc_s // HOUR_S) - int(began_utc_s // HOUR_S)
        trial = trials[bed] = DoseTrial(hours=max(0, since_h))
    trial.given_mm += depth_mm
    trial.after_h = 0


def pair_of(one: str, other: str) -> str:
    """Under which name two probes' crossed answers are counted."""
    return "|".join(sorted((one, other)))


def partner(
    risen: Mapping[str, Sequence[tuple[str, float]]], depth_cm: float
) -> tuple[str, str] | None:
    """The one probe elsewhere that answered in another's place.

    Args:
        risen: of each other bed, its probes that rose without water of their own: name and how
            deep [cm]; beds without such a probe may be left out.
        depth_cm: of the probe that did not answer.

    Returns:
        Its bed and its name, the nearest in depth; None where no bed or more than one rose: that
        is a rain, not a swap.
    """
    beds = [bed for bed, probes in risen.items() if probes]
    if len(beds) != 1:
        return None
    bed = beds[0]
    name, _ = min(risen[bed], key=lambda one: (abs(one[1] - depth_cm), one[0]))
    return bed, name


def fell_m3_m3(hours: Sequence[float | None]) -> float:
    """How far a probe fell within the last two hours; 0 where too little is known [m3/m3].

    The hour between is left out: a plug that is changed within it mixes both.
    """
    before, now = _two_hours_ago(hours), hours[-1] if hours else None
    return 0.0 if before is None or now is None else before - now


def _two_hours_ago(hours: Sequence[float | None]) -> float | None:
    """What a probe told two hours ago, or the last before that, where it was silent [m3/m3]."""
    for ago in range(3, min(BRIDGED_H, len(hours)) + 1):
        if hours[-ago] is not None:
            return hours[-ago]
    return None


def exchanged(ours: Sequence[float | None], theirs: Sequence[float | None]) -> bool:
    """Whether two probes each tell now what the other told two hours ago.

    Args:
        ours: hours of the one that fell [m3/m3].
        theirs: hours of another.
    """
    if not ours or not theirs:
        return False
    old, now = _two_hours_ago(ours), ours[-1]
    their_old, their_now = _two_hours_ago(theirs), theirs[-1]
    if old is None or now is None or their_old is None or their_now is None:
        return False
    rose = their_now - their_old >= EXCHANGED_M3_M3
    return rose and abs(now - their_old) <= ALIKE_M3_M3 and abs(their_now - old) <= ALIKE_M3_M3


def dry_enough_h(fell_m3_m3: float, window_h: float) -> float:
    """How long a bed has to be dry, so that its water explains no exchange of levels [h].

    Args:
        fell_m3_m3: how far one of the two probes fell.
        window_h: within which a dose moves this bed's probe.
    """
    return window_h if fell_m3_m3 >= EXCHANGED_FAR_M3_M3 else EXCHANGED_DRY_H


def crossed_between(
    crossed: Mapping[str, int], ours: Sequence[str], theirs: Sequence[str]
) -> list[tuple[str, str, int]]:
    """What was counted between the probes of two beds: ours, theirs, how often."""
    found = []
    for our in ours:
        for their in theirs:
            times = crossed.get(pair_of(our, their), 0)
            if times:
                found.append((our, their, times))
    return found
