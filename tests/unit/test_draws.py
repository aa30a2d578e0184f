"""What a drawn world draws: spreads as told in the developers' notes, and lots that stand alone."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from statistics import fmean, pstdev

import pytest

from api.garden_meant import garden_of
from controller.garden import Garden
from sim import draws
from sim.draws import Placing, ProbeDraw, Sits, bed_draw, misplaced_probe, placing, probe_draw
from sim.garden_world import GardenWorld
from sim.probe_truth import ProbeTruth, SoilWarmth, Spot, point_at
from sim.season_run import prepare
from sim.soil_making import from_field_capacity

ROOT = Path(__file__).parents[2]
SEEDS = range(400)
EMITTERS = 72
REPLAY = prepare(garden_of("hollin-lane")[0], "invented-dry")


def spread(of: Callable[[int], float]) -> tuple[float, float]:
    """Mean and standard deviation over the seeds."""
    values = [of(seed) for seed in SEEDS]
    return fmean(values), pstdev(values)


def drawn_garden(seed: int, *, sure: bool = False, garden: Garden | None = None) -> GardenWorld:
    return GardenWorld(
        garden or REPLAY.garden, REPLAY.season, REPLAY.span.from_utc_s, seed=seed, sure=sure
    )


# -- the table


def told() -> dict[str, str]:
    """Name and value of every constant that the table names."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    _, found, rest = text.partition("\n## What a drawn world draws\n")
    assert found
    table = rest.split("\n## ", 1)[0]
    return dict(re.findall(r"`([A-Z][A-Z0-9_]+) = ([^`]+)`", table))


def drawn_constants() -> dict[str, object]:
    """Every number that spreads something."""
    left_out = {"DAY_S", "MASK_64", "LOST_OF_65536", "NOISE_SCALE"}
    names = {name for name in vars(draws) if name.isupper()} - left_out
    return {name: getattr(draws, name) for name in names}


def test_the_table_holds_every_constant_with_its_value() -> None:
    here = drawn_constants()
    assert len(here) > 20
    assert {name: value.replace(" to ", ", ") for name, value in told().items()} == {
        name: str(value).strip("()") for name, value in here.items()
    }


# -- beds


def test_a_bed_spreads_as_told() -> None:
    draw = {seed: bed_draw(seed, "south", EMITTERS) for seed in SEEDS}
    even = 0.15 / math.sqrt(3.0)
    assert spread(lambda seed: draw[seed].fc_off_frac) == pytest.approx((0.0, even), abs=0.012)
    assert spread(lambda seed: draw[seed].kc_off_frac) == pytest.approx((0.0, even), abs=0.012)
    assert max(abs(one.fc_off_frac) for one in draw.values()) <= 0.15
    assert max(abs(one.kc_off_frac) for one in draw.values()) <= 0.15
    assert max(abs(one.p_off_frac) for one in draw.values()) <= 0.05
    ks = spread(lambda seed: math.log(1.0 + draw[seed].ks_off_frac))
    assert ks == pytest.approx((0.0, math.log(2.0)), abs=0.09)
    water = spread(lambda seed: draw[seed].spot_water_frac)
    assert water == pytest.approx((0.0, 0.08), abs=0.012)
    use = spread(lambda seed: draw[seed].spot_use_frac)
    assert use == pytest.approx((0.0, 0.05), abs=0.008)


def test_emitters_clog_one_in_fifty_and_spread_by_their_cv() -> None:
    """One emitter: 2 % nothing, the others 1 ± 0.05."""
    alone = [1.0 + bed_draw(seed, "b", 1).flow_off_frac for seed in range(4000)]
    clogged = [flow for flow in alone if flow == 0.0]
    others = [flow for flow in alone if flow > 0.0]
    assert len(clogged) / len(alone) == pytest.approx(0.02, abs=0.008)
    assert fmean(others) == pytest.approx(1.0, abs=0.005)
    assert pstdev(others) == pytest.approx(0.05, abs=0.005)


def test_the_drawn_field_capacity_is_the_soils_own_within_fifteen_per_cent() -> None:
    off = []
    for seed in range(14):
        for bed in drawn_garden(seed).truth.beds.values():
            wanted = 1.0 + bed_draw(seed, bed.spec.bed, bed.spec.emitters).fc_off_frac
            here = bed.soil_kind.field_capacity_m3_m3 / bed.spec.field_capacity_m3_m3
            assert here == pytest.approx(wanted, abs=0.004)
            off.append(here)
    assert min(off) < 0.88
    assert max(off) > 1.12


def test_a_garden_has_one_onset_of_stress_and_beds_of_their_own() -> None:
    one, other = bed_draw(3, "south", 10), bed_draw(3, "wall", 10)
    assert one.p_off_frac == other.p_off_frac
    assert one.fc_off_frac != other.fc_off_frac


def test_a_spot_gains_loses_and_comes_back_in_days() -> None:
    spot = Spot(0.1, -0.2)
    spot.step(1.0, 20.0, 5.0)
    assert spot.deviation_mm == pytest.approx(0.1 * 20.0 + 0.2 * 5.0)
    for _ in range(96 * 6):
        spot.step(1.0 / 6.0, 0.0, 0.0)
    assert spot.deviation_mm == pytest.approx(3.0 / math.e, rel=0.01)


def test_a_spot_stays_between_half_the_wilting_point_and_saturation() -> None:
    kind = from_field_capacity(0.28, 0.137, saturation_m3_m3=0.46, full_root_depth_m=0.55)
    soil = kind.column((0.28,) * len(kind.thickness_mm))
    spot = Spot(0.1, 0.0)
    spot.deviation_mm = 11.0
    assert spot.theta_m3_m3(0.28, soil) == pytest.approx(0.28 + 11.0 / 550.0)
    spot.deviation_mm = 400.0
    assert spot.theta_m3_m3(0.28, soil) == 0.46
    spot.deviation_mm = -400.0
    assert spot.theta_m3_m3(0.28, soil) == pytest.approx(0.0685)


# -- meter and probes


def test_meters_spread_as_told() -> None:
    assert spread(draws.meter_factor) == pytest.approx((1.0, 0.015), abs=0.003)
    assert drawn_garden(4).meter_factor == draws.meter_factor(4)


def test_probes_spread_as_told() -> None:
    draw = {seed: probe_draw(seed, "south-20") for seed in SEEDS}
    offset = spread(lambda seed: draw[seed].offset_m3_m3)
    assert offset == pytest.approx((0.0, 0.01), abs=0.0015)
    gain = spread(lambda seed: draw[seed].gain_frac)
    assert gain == pytest.approx((0.0, 0.03), abs=0.004)
    drift = spread(lambda seed: draw[seed].monthly_drift_m3_m3)
    assert drift == pytest.approx((0.0, 0.002), abs=0.0003)
    warm = [one.temperature_per_c for one in draw.values()]
    assert 0.4 < fmean(one > 0.0 for one in warm) < 0.6
    assert 0.0004 <= min(map(abs, warm)) < 0.0006
    assert 0.0018 < max(map(abs, warm)) <= 0.002


def test_noise_is_nearly_normal() -> None:
    noise = [draws.noise_of(draws.bits(7, n * 600_000)) for n in range(5000)]
    assert fmean(noise) == pytest.approx(0.0, abs=0.05)
    assert pstdev(noise) == pytest.approx(1.0, abs=0.03)
    assert 2.5 < max(noise) < 3.5
    after = fmean(a * b for a, b in pairwise(noise))
    assert abs(after) < 0.05


def lone(
    draw: ProbeDraw,
    *,
    sits: Sits = Sits.RIGHT,
    depth_cm: float = 20.0,
    world: GardenWorld | None = None,
) -> ProbeTruth:
    """A probe of one's own making in the south bed."""
    home = world or drawn_garden(1, sure=True)
    return ProbeTruth(
        draw,
        home.truth.beds["south"],
        depth_cm=depth_cm,
        sits=sits,
        mulch="straw",
        warmth=SoilWarmth(REPLAY.season),
        began_utc_s=REPLAY.span.from_utc_s,
    )


def test_offset_gain_and_drift_add_up() -> None:
    begin = math.ceil(REPLAY.span.from_utc_s / 3600.0) * 3600.0
    probe = lone(ProbeDraw(offset_m3_m3=0.01, gain_frac=0.05, monthly_drift_m3_m3=0.004))
    truth = probe.theta_m3_m3()
    at_first, later = probe.reading_m3_m3(begin), probe.reading_m3_m3(begin + 60 * 86_400.0)
    assert at_first == pytest.approx(0.01 + 1.05 * truth, abs=1e-5)
    assert later == pytest.approx(0.01 + 1.05 * truth + 0.008, abs=1e-5)


def test_warmth_shows_by_its_response_either_way() -> None:
    at = math.ceil(REPLAY.span.from_utc_s / 3600.0) * 3600.0 + 70 * 86_400.0
    temp_c = SoilWarmth(REPLAY.season).temp_c(at, 0.2, "straw")
    truth = lone(ProbeDraw()).theta_m3_m3()
    assert abs(temp_c - 20.0) > 0.3
    for per_c in (0.002, -0.002):
        told = lone(ProbeDraw(temperature_per_c=per_c)).reading_m3_m3(at)
        assert told == pytest.approx(truth + per_c * (temp_c - 20.0))


def test_the_soil_follows_the_air_later_and_less_with_depth() -> None:
    warmth = SoilWarmth(REPLAY.season)
    day = REPLAY.season.daily[150].start_utc_s
    hours = range(24)
    waves = {}
    for depth in (0.0, 0.1, 0.2, 0.4):
        felt = [warmth.temp_c(day + h * 3600.0, depth, "none") for h in hours]
        waves[depth] = max(felt) - min(felt)
    assert waves[0.1] == pytest.approx(waves[0.0] / math.e, rel=0.3)
    assert waves[0.0] > 5.0 > waves[0.1] > waves[0.2] > waves[0.4]
    means = [(one.tmin_c + one.tmax_c) / 2.0 for one in REPLAY.season.daily]
    noon = [warmth.temp_c(one.start_utc_s + 43_200.0, 0.4, "none") for one in REPLAY.season.daily]
    assert pstdev(noon) < pstdev(means)
    assert fmean(noon) == pytest.approx(fmean(means), abs=2.0)


def test_readings_get_lost_singly_and_in_spells() -> None:
    days, probes = 200, [lone(replace(probe_draw(seed, "p"), seed=seed)) for seed in range(8)]
    begin = REPLAY.span.from_utc_s
    runs: list[int] = []
    for probe in probes:
        run = 0
        for n in range(days * 144):
            if probe.reading_m3_m3(begin + n * 600.0) is None:
                run += 1
            elif run:
                runs.append(run)
                run = 0
    every = len(probes) * days * 144
    single = [run for run in runs if run <= 2]
    spells = [run for run in runs if run >= 5]
    assert sum(single) / every == pytest.approx(0.004, abs=0.0007)
    assert len(spells) / (len(probes) * days) == pytest.approx(0.01, abs=0.006)
    assert max(spells) <= 10 * 6 + 3


def test_a_spell_may_go_on_past_midnight() -> None:
    found = [
        (seed, day, spell)
        for seed in range(60)
        for day in range(16_000, 16_200)
        if (spell := draws.spell_of_day(seed, day)) is not None
        and spell[1] > (day + 1) * 86_400.0 + 3600.0
    ]
    seed, day, _ = found[0]
    probe = lone(ProbeDraw(loses=True, seed=seed))
    assert probe.reading_m3_m3((day + 1) * 86_400.0 + 1800.0) is None


@pytest.mark.parametrize("depth_mm", [0.0, 25.0, 60.0, 100.0, 200.0, 333.0, 400.0, 900.0, 2000.0])
def test_a_probe_reads_what_the_column_holds_at_its_depth(depth_mm: float) -> None:
    world = drawn_garden(1, sure=True)
    world.set_flow("south", 2.0)
    world.advance(REPLAY.span.from_utc_s + 7200.0)
    soil = world.truth.beds["south"].soil
    assert max(soil.water_mm) > min(soil.water_mm)
    probe = lone(ProbeDraw(), depth_cm=depth_mm / 10.0, world=world)
    assert probe.theta_m3_m3() == soil.theta_at(depth_mm)


def test_below_and_above_all_middles_a_layer_stands_for_itself() -> None:
    assert point_at((50.0, 50.0, 100.0), 10.0) == (0, 0, 0.0)
    assert point_at((50.0, 50.0, 100.0), 50.0) == (0, 1, 0.5)
    assert point_at((50.0, 50.0, 100.0), 500.0) == (2, 2, 0.0)


# -- misplaced


def test_one_garden_in_ten_has_one_misplaced_probe() -> None:
    probes = list(REPLAY.garden.probes)
    found = [misplaced_probe(seed, probes) for seed in range(2000)]
    hit = [probe for probe in found if probe is not None]
    assert len(hit) / len(found) == pytest.approx(0.10, abs=0.02)
    assert all(hit.count(probe) > 8 for probe in probes)
    assert misplaced_probe(1, []) is None


def test_another_probe_moves_the_misplacing_only_to_itself() -> None:
    probes = list(REPLAY.garden.probes)
    for seed in range(500):
        before, after = misplaced_probe(seed, probes), misplaced_probe(seed, [*probes, "new"])
        assert after in {before, "new"}


def test_misplaced_probes_sit_beside_or_deeper() -> None:
    places = [placing(seed, "p") for seed in SEEDS]
    assert fmean(place.sits is Sits.BESIDE for place in places) == pytest.approx(0.5, abs=0.08)
    assert all(8.0 <= place.deeper_cm <= 20.0 for place in places)
    assert Placing().sits is Sits.RIGHT


def test_a_probe_beside_the_strip_hardly_sees_a_watering() -> None:
    world = drawn_garden(1, sure=True)
    right, beside = lone(ProbeDraw(), world=world), lone(ProbeDraw(), sits=Sits.BESIDE, world=world)
    before = right.theta_m3_m3(), beside.theta_m3_m3()
    world.set_flow("south", world.flow_l_min("south"))
    world.advance(REPLAY.span.from_utc_s + 3.0 * 3600.0)
    assert right.theta_m3_m3() - before[0] > 0.03
    assert abs(beside.theta_m3_m3() - before[1]) < 0.005


def test_the_garden_puts_the_misplaced_probe_where_it_truly_is() -> None:
    probes = REPLAY.garden.probes
    for seed in range(2000):
        probe = misplaced_probe(seed, probes)
        if probe == "south-20" and placing(seed, probe).sits is Sits.DEEPER:
            break
    world = drawn_garden(seed)
    assert world.misplaced == "south-20"
    deeper_cm = 20.0 + placing(seed, "south-20").deeper_cm
    here = world.truth.probe("south-20", "south", deeper_cm)
    for n in range(1, 20):
        world.advance(REPLAY.span.from_utc_s + n * 600.0)
        assert world.probe_value("south-20") == here.reading_m3_m3(world.truth.now_utc_s)


# -- standing alone


def test_another_bed_and_probe_in_the_garden_change_nothing() -> None:
    whole = REPLAY.garden
    beds = {name: bed for name, bed in whole.beds.items() if name == "wall"}
    probes = {name: probe for name, probe in whole.probes.items() if name.startswith("wall")}
    alone = whole.model_copy(update={"beds": beds, "probes": probes})
    seed = next(n for n in range(50) if misplaced_probe(n, whole.probes) is None)
    worlds = [drawn_garden(seed), drawn_garden(seed, garden=alone)]
    read = []
    for world in worlds:
        world.set_flow("wall", world.flow_l_min("wall"))
        world.advance(REPLAY.span.from_utc_s + 5400.0)
        read.append((world.probe_value("wall-20"), world.tension_kpa("wall-40")))
    assert read[0] == read[1]


def test_a_sure_garden_draws_nothing() -> None:
    world = drawn_garden(5, sure=True)
    world.advance(REPLAY.span.from_utc_s + 86_400.0)
    assert (world.meter_factor, world.misplaced) == (1.0, None)
    for name, bed in world.garden.beds.items():
        assert world.flow_l_min(name) == bed.flow_l_min
        assert not world.truth.beds[name].uneven
        for probe in bed.probes:
            depth_cm = world.garden.probes[probe].depth_cm
            assert world.probe_value(probe) == world.truth.theta(name, depth_cm)
            assert world.tension_kpa(probe) == world.truth.tension_kpa(name, depth_cm)
