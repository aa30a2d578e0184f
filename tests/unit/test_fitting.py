"""A fit of one bed to what was recorded of it: what it learns, what it refuses, what it keeps."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from controller.errors import UsageError
from sim import draws
from sim.draws import BedDraw, Drawn, Placing, Sits
from sim.garden_world import START_FRAC, GardenWorld, spec_of
from sim.probe_truth import Spot
from sim.winter.fitting import fit_file
from sim.winter.fitting.bed_fit import Column, contents, parts, probe_told, surrogate
from sim.winter.fitting.driven import UnitSpot, drive, rates
from sim.winter.fitting.dry_downs import dry_downs, score
from sim.winter.fitting.observed import Observed, Water
from sim.winter.fitting.posterior import drawn_from
from sim.winter.fitting.priors import BED, COLUMN, PROBE, quantities
from sim.winter.fitting.season_fit import case_of, fit_season, told_by, too_thin
from sim.winter.fitting.words import as_text
from tests.unit.hidden_bed import hidden_bed, tables

SHORT = date(2015, 6, 13)  # five weeks
DAY_S = 86_400.0


@pytest.fixture(scope="module")
def short() -> Observed:
    return hidden_bed(11, last=SHORT)


# -- priors


@pytest.mark.parametrize("one", [*BED, *PROBE], ids=lambda one: one.name)
def test_a_coordinate_and_its_value_are_each_other_s_inverse(one: object) -> None:
    for z in (-2.0, -0.3, 0.0, 1.1):
        assert one.z_of(one.value(z)) == pytest.approx(z, abs=1e-6)  # type: ignore[attr-defined]


def test_the_prior_is_what_worlds_are_drawn_from() -> None:
    """Even ones end where the draws end; normal ones have the draws' standard deviation."""
    by_name = {one.name: one for one in (*BED, *PROBE)}
    assert by_name["fc_off_frac"].value(3**0.5) == pytest.approx(draws.FC_SPREAD_FRAC)
    assert by_name["kc_off_frac"].value(-(3**0.5)) == pytest.approx(-draws.KC_SPREAD_FRAC)
    assert by_name["spot_water_frac"].value(1.0) == draws.SPOT_WATER_SD_FRAC
    assert by_name["gain_frac"].prior_sd == draws.PROBE_GAIN_SD_FRAC
    drawn = [draws.probe_draw(seed, "south-20").temperature_per_c for seed in range(2000)]
    assert by_name["temperature_per_c"].prior_sd == pytest.approx(np.std(drawn), rel=0.03)


# -- the column


def test_the_driven_column_is_the_world_s_own(short: Observed) -> None:
    """With the true departures it tells what the hidden world's bed truly held."""
    seed, bed = 11, "south"
    span = (short.from_utc_s, short.from_utc_s + 10 * DAY_S)
    draw = draws.bed_draw(seed, bed, short.garden.beds[bed].emitters)
    meter = draws.meter_factor(seed)
    driven = drive(
        spec_of(short.garden, bed, START_FRAC),
        short.season,
        span,
        rates(short.beds[bed].water, 1.0 / meter),
        draw,
    )
    world = GardenWorld(short.garden, short.season, span[0], seed=seed, sure=False)
    changes = rates(short.beds[bed].water, 1.0 / meter)
    for at_utc_s, l_min in [one for one in changes if one[0] < span[1]]:
        world.advance(at_utc_s)
        world.set_flow(bed, l_min)
    world.advance(span[1])
    truth = world.truth.beds[bed]
    assert driven.depletion_frac[-1] == pytest.approx(truth.depletion_frac, abs=1e-3)
    spot = draw.spot_water_frac * driven.watered_mm - draw.spot_use_frac * driven.used_mm
    assert spot[-1] == pytest.approx(truth.spot.deviation_mm, abs=1e-3)


def test_a_spot_is_straight_in_both_of_its_shares() -> None:
    unit = UnitSpot()
    other = Spot(0.07, -0.03)
    for hours, water, use in ((1.0, 5.0, 0.0), (3.0, 0.0, 1.2), (20.0, 0.0, 0.4)):
        unit.step(hours, water, use)
        other.step(hours, water, use)
    assert 0.07 * unit.watered_mm + 0.03 * unit.used_mm == pytest.approx(other.deviation_mm)


def test_overlapping_water_adds_up_and_ends() -> None:
    water = (
        Water(from_utc_s=0.0, to_utc_s=120.0, litres=4.0),
        Water(from_utc_s=60.0, to_utc_s=180.0, litres=2.0),
    )
    assert rates(water, 0.5) == [(0.0, 1.0), (60.0, 1.5), (120.0, 0.5), (180.0, 0.0)]


def test_the_surrogate_is_the_column_where_it_was_run_and_close_beside(short: Observed) -> None:
    case = case_of(short, "south").until(short.from_utc_s + 20 * DAY_S)
    column = Column(case)
    z = np.zeros(len(quantities(case.probes)))
    near = surrogate(case, column, z, np.full(len(COLUMN), 0.5))
    for told, ran in zip(near.at(z), contents(case, column.at(z)), strict=True):
        assert told == pytest.approx(ran)
    beside = z.copy()
    beside[[0, 2]] = (0.3, -0.3)
    for told, ran, was in zip(
        near.at(beside), contents(case, column.at(beside)), near.base, strict=True
    ):
        moved = float(np.sqrt(np.mean((ran[0] - was[0]) ** 2)))
        assert float(np.sqrt(np.mean((told[0] - ran[0]) ** 2))) < 0.1 * moved


def test_both_ways_to_a_probe_s_word_agree(short: Observed) -> None:
    case = case_of(short, "south")
    column = Column(case)
    z = np.full(len(quantities(case.probes)), 0.4)
    driven = column.at(z)
    by_hour = told_by(case, driven, z)
    three = contents(case, driven)
    for i, one in enumerate(case.blocks):
        told = probe_told(one, three[i], *parts(z, i))
        assert told == pytest.approx(by_hour[one.probe], abs=2e-4)


# -- what is refused, what is said


def test_a_bed_without_probes_is_refused() -> None:
    observed = hidden_bed(3, last=SHORT, probes=False)
    result = fit_season(observed)[0]
    assert result.fit is None
    assert "no probe" in result.refused


def test_a_short_record_is_refused_with_its_days(short: Observed) -> None:
    cut = replace(short, to_utc_s=short.from_utc_s + 15 * DAY_S)
    result = fit_season(cut)[0]
    assert result.fit is None
    assert "15 days of readings; 21 are needed" in result.refused
    assert "south: not fitted. 15 days" in as_text(cut, [result])


def test_a_record_that_is_always_wet_is_refused(short: Observed) -> None:
    one = short.beds["south"]
    days = range(0, 36)
    water = tuple(
        Water(
            from_utc_s=short.from_utc_s + day * DAY_S,
            to_utc_s=short.from_utc_s + day * DAY_S + 600.0,
            litres=5.0,
        )
        for day in days
    )
    wet = replace(short, beds={"south": replace(one, water=water)})
    assert too_thin(case_of(wet, "south")) == "0 dry-downs of two days and more; 2 are needed"


def test_dry_downs_begin_a_day_after_water_and_end_with_rain(short: Observed) -> None:
    found = dry_downs(short.beds["south"].water, short.season, (short.from_utc_s, short.to_utc_s))
    assert found
    rain = [hour.at_utc_s for hour in short.season.hours if hour.rain_mm >= 0.2]
    given = [one.from_utc_s for one in short.beds["south"].water]
    for down in found:
        assert down.to_utc_s - down.from_utc_s >= 2 * DAY_S
        wet = [at for at in (*rain, *given) if down.from_utc_s <= at < down.to_utc_s]
        assert wet == []


def test_a_perfect_forecast_has_skill_1_and_the_table_s_own_0(short: Observed) -> None:
    case = case_of(short, "south")
    downs = dry_downs(case.water, case.season, case.span_utc_s)
    seen_by = {one.probe: one.theta_m3_m3 for one in case.blocks}
    still = {one.probe: np.full_like(one.theta_m3_m3, 0.2) for one in case.blocks}
    best = score(downs, case.blocks, seen_by, still)
    same = score(downs, case.blocks, still, still)
    assert best is not None
    assert same is not None
    assert best.skill == 1.0
    assert same.skill == 0.0
    assert best.table_rmse_m3_m3 == pytest.approx(best.fall_rms_m3_m3)


# -- a fit, once


@pytest.fixture(scope="module")
def told(short: Observed) -> dict[str, Any]:
    results = fit_season(short, held_back=False)
    return fit_file.as_document(short, tables("south"), results)


def test_a_short_season_says_what_it_did_not_learn(told: dict[str, Any]) -> None:
    """Five weeks in spring tell field capacity and thirst, and hardly where stress begins."""
    bed = told["beds"]["south"]
    assert "p_off_frac" in bed["unlearned"]
    assert {"fc_off_frac", "kc_off_frac"}.isdisjoint(bed["unlearned"])
    for name, one in bed["quantities"].items():
        assert one["low_90"] < one["most_likely"] < one["high_90"], name
        assert one["learned"] == (name not in bed["unlearned"])


def test_a_fit_file_comes_back_as_it_was(told: dict[str, Any], tmp_path: Path) -> None:
    path = tmp_path / "fit.json"
    fit_file.write(path, told)
    found = fit_file.read(path)
    assert found.garden_digest == fit_file.garden_digest(found.garden)
    assert found.season.hours[5].temp_c == told["weather"]["hours"][5][1]
    assert list(found.beds["south"].z) == told["beds"]["south"]["z"]
    again = drawn_from(found, 7)
    assert again == drawn_from(found, 7)
    assert again != drawn_from(found, 8)
    assert set(again.probes) == {"south-20", "south-40"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param("{", "cannot be read as a fit file", id="no-json"),
        pytest.param('{"kind": "x"}', "is no fit file", id="another-kind"),
        pytest.param('{"kind": "thirstline fit", "version": 9}', "version 9", id="newer"),
        pytest.param('{"kind": "thirstline fit", "version": 1}', "damaged", id="damaged"),
    ],
)
def test_another_file_is_refused(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "fit.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError, match=said):
        fit_file.read(path)


# -- told draws


def test_told_draws_stand_in_for_the_seed_s(short: Observed) -> None:
    drawn = Drawn(
        beds={"south": BedDraw(fc_off_frac=0.1)},
        probes={"south-20": draws.ProbeDraw(offset_m3_m3=0.02)},
        meter_off_frac=0.01,
        places={"south-40": Placing(sits=Sits.BESIDE)},
        depletion_frac={"south": 0.3},
    )
    world = GardenWorld(short.garden, short.season, short.from_utc_s, seed=4, drawn=drawn)
    told_fc = short.garden.beds["south"].fc_m3_m3
    bed = world.truth.beds["south"]
    assert bed.soil_kind.field_capacity_m3_m3 == pytest.approx(1.1 * told_fc, rel=0.003)
    assert bed.depletion_frac == pytest.approx(0.3, abs=1e-9)
    assert world.meter_factor == 1.01
    true = world.truth.theta("south", 20.0)
    assert world.probe_value("south-20") == pytest.approx(true + 0.02)
    assert world.probe("south-40").theta_m3_m3() == pytest.approx(
        bed.soil.side_mm / sum(bed.soil.thickness_mm)
    )
