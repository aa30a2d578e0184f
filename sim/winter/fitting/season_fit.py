"""A season's record fitted bed by bed, judged on weeks that it was not fitted to.

Three quarters of a bed's days are fitted first and the last quarter is foretold; then all of it is
fitted, from there. A bed whose record is too thin is refused with the reason, never fitted anyhow.
A probe that fits far better beside the strip or deeper than told is taken to sit there, and said.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from sim.draws import Placing, Sits
from sim.garden_world import START_FRAC, spec_of
from sim.season_types import HOUR_S
from sim.winter.fitting.bed_fit import ROUNDS, BedFit, Case, Column, fit_bed
from sim.winter.fitting.driven import Driven, Numbers
from sim.winter.fitting.dry_downs import Score, dry_downs, score
from sim.winter.fitting.observed import BedSeen, Observed
from sim.winter.fitting.priors import BED, PROBE, SPOT, quantities
from sim.winter.fitting.seeing import BLOCK_H, blocks_of, seen
from sim.winter.fitting.seeing import Blocks as ProbeBlocks

LEAST_DAYS = 21  # of readings; fewer are too thin (ours)
LEAST_DRY_DOWNS = 2  # fewer are too thin (ours)
HELD_BACK_FRAC = 0.25  # of the days, the last ones
UNLEARNED_SD = 0.8  # of the prior's standard deviation: above it a quantity was not learned (ours)
DEEPER_CM = (8.0, 12.0, 16.0, 20.0)  # where else than told a probe is looked for
ELSEWHERE_GAIN = 30.0  # [-] of squared misses, twice log odds: well over 10 : 1 against it; ours
DAY_S = 86_400.0
BLOCKS_A_DAY = 24 // BLOCK_H


@dataclass(frozen=True, slots=True, kw_only=True)
class BedResult:
    """What came of one bed.

    Args:
        bed: its name.
        fit: the posterior; None where it was refused.
        refused: why, empty where it was fitted.
        held_back: the score of the held-back weeks; None where they had no dry-down.
        places: probes that are taken to sit elsewhere than told.
        flow_off_frac: what the valve gave over what was bought [-].
        unlearned: names of quantities that the record did not tell.
    """

    bed: str
    fit: BedFit | None = None
    refused: str = ""
    held_back: Score | None = None
    places: Mapping[str, Placing]
    flow_off_frac: float = 0.0
    unlearned: tuple[str, ...] = ()


def fit_season(
    observed: Observed,
    *,
    held_back: bool = True,
    tell: Callable[[str], None] = lambda _: None,
) -> list[BedResult]:
    """Fit every bed of a record.

    Args:
        observed: the record.
        held_back: whether the last quarter is foretold first; half of the time goes into it.
        tell: told a sentence as each bed is done.
    """
    results = []
    for bed in observed.garden.beds:
        result = _fit(observed, bed, held_back=held_back)
        tell(f"{bed}: {result.refused or 'fitted'}")
        results.append(result)
    return results


def case_of(observed: Observed, bed: str) -> Case:
    """What a fit of one bed is given."""
    garden, one = observed.garden, observed.beds[bed]
    span = (observed.from_utc_s, observed.to_utc_s)
    blocks = [
        blocks_of(
            hours,
            garden.probes[hours.probe].depth_cm,
            garden.beds[bed].mulch,
            observed.season,
            span,
        )
        for hours in one.probes
    ]
    return Case(
        spec=spec_of(garden, bed, START_FRAC),
        season=observed.season,
        span_utc_s=span,
        water=one.water,
        blocks=[found for found in blocks if found is not None],
        places={},
    )


def too_thin(case: Case) -> str:
    """Why a record is too thin to fit; empty where it is not."""
    if not case.blocks:
        return "no probe told water content; a calibrated probe is needed"
    days = max(len(one.theta_m3_m3) for one in case.blocks) / BLOCKS_A_DAY
    if days < LEAST_DAYS:
        return f"{days:.0f} days of readings; {LEAST_DAYS} are needed"
    first = min(float(one.at_utc_s[0]) for one in case.blocks)
    last = max(float(one.at_utc_s[-1]) for one in case.blocks)
    downs = dry_downs(case.water, case.season, (first, last))
    if len(downs) < LEAST_DRY_DOWNS:
        return f"{len(downs)} dry-downs of two days and more; {LEAST_DRY_DOWNS} are needed"
    return ""


def _fit(observed: Observed, bed: str, *, held_back: bool) -> BedResult:
    case = case_of(observed, bed)
    flow = _flow_off_frac(observed, bed)
    thin = too_thin(case)
    if thin:
        return BedResult(bed=bed, refused=thin, places={}, flow_off_frac=flow)
    begin_z, judged = None, None
    part = case
    if held_back:
        part = case.until(_held_back_from(case))
    if held_back and part.probes == case.probes:
        early = fit_bed(part)
        found = find_places(part, early)
        if found:
            case = replace(case, places=found)
            early = fit_bed(replace(part, places=found), early.z, rounds=2)
        begin_z = early.z
        judged = judge(case, early.z, part.span_utc_s[1])
    fit = fit_bed(case, begin_z, rounds=ROUNDS if begin_z is None else 2)
    if begin_z is None:
        found = find_places(case, fit)
        if found:
            case = replace(case, places=found)
            fit = fit_bed(case, fit.z, rounds=2)
    return BedResult(
        bed=bed,
        fit=fit,
        held_back=judged,
        places=case.places,
        flow_off_frac=flow,
        unlearned=unlearned(fit),
    )


def _held_back_from(case: Case) -> float:
    """Where the held-back weeks begin: a whole number of blocks after the start [Unix s UTC]."""
    begin, end = case.span_utc_s
    blocks = (1.0 - HELD_BACK_FRAC) * (end - begin) / (BLOCK_H * HOUR_S)
    return begin + int(blocks) * BLOCK_H * HOUR_S


def told_by(case: Case, driven: Driven, z: Numbers) -> dict[str, Numbers]:
    """What each probe of a case would tell of a driven column, block by block [m3/m3]."""
    values = [one.value(float(at)) for (_, one), at in zip(quantities(case.probes), z, strict=True)]
    spot = values[len(BED) - len(SPOT) : len(BED)]
    found = {}
    for i, one in enumerate(case.blocks):
        first = len(BED) + i * len(PROBE)
        own = values[first : first + len(PROBE)]
        found[one.probe] = seen(driven, one, case.place(one.probe), spot, own)
    return found


def judge(case: Case, z: Numbers, from_utc_s: float) -> Score | None:
    """Foretell the dry-downs after an instant by a fit of what was before, and by the table.

    Args:
        case: the whole record.
        z: what was fitted to the part before.
        from_utc_s: where the held-back weeks begin [Unix s UTC].
    """
    column = Column(case)
    table_z = np.zeros_like(z)
    fitted = told_by(case, column.at(z), z)
    table = told_by(case, column.at(table_z), table_z)
    downs = dry_downs(case.water, case.season, (from_utc_s, case.span_utc_s[1]))
    return score(downs, case.blocks, fitted, table)


def unlearned(fit: BedFit) -> tuple[str, ...]:
    """Quantities that are hardly surer than before anything was seen."""
    sd = np.sqrt(np.diag(fit.covariance))
    named = quantities(fit.probes)
    return tuple(name for (name, _), one in zip(named, sd, strict=True) if one > UNLEARNED_SD)


def find_places(case: Case, fit: BedFit) -> dict[str, Placing]:
    """Probes that fit far better somewhere else than they are told to sit.

    Their own quantities are learned anew for each place, the column's stay: no further run.
    """
    found = {}
    for i, one in enumerate(case.blocks):
        sd = fit.sd_m3_m3[one.probe]
        options = {Placing(): _miss(case, fit, i, Placing(), sd)}
        elsewhere = [Placing(sits=Sits.DEEPER, deeper_cm=cm) for cm in DEEPER_CM]
        elsewhere.append(Placing(sits=Sits.BESIDE))
        for place in elsewhere:
            options[place] = _miss(case, fit, i, place, sd)
        best = min(options, key=lambda place: options[place])
        if best != Placing() and options[Placing()] - options[best] > ELSEWHERE_GAIN:
            found[one.probe] = best
    return found


def _miss(case: Case, fit: BedFit, probe: int, place: Placing, sd: float) -> float:
    """Squared misses of one probe at a place, its own quantities at their best there."""
    one: ProbeBlocks = case.blocks[probe]
    here = seen(fit.driven, one, place, _spot(fit), (0.0, 0.0, 0.0, 0.0))
    base = np.column_stack(
        [np.ones_like(here), here, one.mean(one.months), one.mean(one.warm_c)]
    ) * np.array([quantity.spread for quantity in PROBE])
    weight = 1.0 / np.hypot(sd, one.front_m3_m3)
    rows = np.vstack([base * weight[:, None], np.eye(len(PROBE))])
    wanted = np.concatenate([(one.theta_m3_m3 - here) * weight, np.zeros(len(PROBE))])
    own, *_ = np.linalg.lstsq(rows, wanted, rcond=None)
    return float(np.sum((rows @ own - wanted) ** 2))


def _spot(fit: BedFit) -> tuple[float, float]:
    values = fit.values
    return values["spot_water_frac"], values["spot_use_frac"]


def _flow_off_frac(observed: Observed, bed: str) -> float:
    """What the valve gave over the emitters as bought; 0 where openings were not timed [-]."""
    one: BedSeen = observed.beds[bed]
    if one.open_s <= 0.0:
        return 0.0
    return one.valve_l / (observed.garden.beds[bed].flow_l_min * one.open_s / 60.0) - 1.0
