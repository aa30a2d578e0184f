"""The garden file explained back: numbers that agree with each other, cautions, 80 columns."""

from __future__ import annotations

import dataclasses
import json
import re
from itertools import pairwise
from pathlib import Path

import pytest

from controller.agronomy.crop import LINES_FRAC, Stage
from controller.explain import explain, render, span
from controller.explain_cautions import Caution
from controller.explain_numbers import minutes_for_all
from controller.explain_scarce import Scarcity
from controller.garden import Garden, load_garden
from sim.examples import find_garden

METRIC_LEFT = re.compile(r"\d ?(?:L|mm|cm|m|kg|°C|litres?)\b")
EXAMPLE = find_garden("hollin-lane").read_text(encoding="utf-8")


def changed(tmp_path: Path, *changes: tuple[str, str]) -> Garden:
    """The example with some of its text changed."""
    text = EXAMPLE
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    path = tmp_path / "plot.toml"
    path.write_text(text, encoding="utf-8")
    return load_garden(path)


@pytest.fixture
def example() -> Garden:
    return load_garden(find_garden("hollin-lane"))


def test_the_numbers_of_a_bed_agree_with_each_other(example: Garden) -> None:
    for found in explain(example).numbers.beds:
        bed = example.beds[found.bed]
        area_m2 = 24 * bed.spacing_m * bed.wetted_width_m
        assert found.capacity_l == pytest.approx(found.capacity_mm * area_m2)
        assert found.thirst_line_l == pytest.approx(found.thirst_line_mm * area_m2)
        assert found.thirst_line_mm == pytest.approx(found.thirst_line_frac * found.capacity_mm)
        assert found.refill_minutes * found.flow_l_min == pytest.approx(found.refill_l)
        assert found.interval_d * found.demand_l_d == pytest.approx(found.refill_l)
        assert found.refill_l < found.thirst_line_l < found.capacity_l
        assert found.refill_l < found.dose_l < found.bed_l_day


def test_each_stage_has_its_line_in_mm_and_as_mad(example: Garden) -> None:
    low = explain(example).numbers.beds[2]  # lean 0.5
    told = {one.stage: (one.line_frac, one.floor_frac) for one in low.stages}
    assert list(told) == [stage.value for stage in Stage]
    assert told == {stage.value: LINES_FRAC[stage] for stage in Stage}
    for one in low.stages:
        young = one.stage == Stage.ESTABLISHING
        holds_mm = low.capacity_mm * (0.2 / example.beds["low"].root_depth_m if young else 1.0)
        assert one.line_mm == pytest.approx(one.line_frac * holds_mm)
    rows = [line.split() for line in render(explain(example)).splitlines()]
    assert ["establishing", "vegetative", "setting", "sizing", "colouring"] in rows
    cells = [f"{one.line_mm:.0f} mm {100.0 * one.line_frac:.0f} %" for one in low.stages]
    assert ["low", *" ".join(cells).split()] in rows


def test_a_crop_has_only_the_stages_that_it_passes_through(tmp_path: Path) -> None:
    wall = changed(tmp_path, ('crop = "tomato"', 'crop = "lettuce"'))
    stages = {bed.bed: [one.stage for one in bed.stages] for bed in explain(wall).numbers.beds}
    assert ["establishing", "sizing"] in stages.values()
    assert " - " in render(explain(wall))


def test_the_south_bed_holds_what_loam_under_two_lines_holds(example: Garden) -> None:
    south = explain(example).numbers.beds[0]
    # 1000 x (0.28 - 0.14) x 0.55 m = 77 mm over 24 x 0.6 m x 0.8 m; class values to 0.01 m3/m3
    assert south.capacity_mm == pytest.approx(77, abs=4)
    assert south.capacity_l == pytest.approx(887, abs=45)
    assert south.flow_l_min == pytest.approx(2.4)
    # loam at 0.8 m in July and August: 3 to 5 days between waterings
    assert 2.5 <= south.interval_d <= 5.0


def test_the_example_fits_its_night_and_needs_no_caution_but_for_plastic_and_alarms(
    example: Garden,
) -> None:
    explanation = explain(example)
    assert explanation.numbers.night.share_frac < 0.8
    assert [(c.code, c.bed) for c in explanation.cautions] == [
        (Caution.NO_ALARM, None),
        (Caution.PLASTIC, "hedge"),
    ]
    assert explanation.numbers.meter is not None
    assert explanation.numbers.meter.fine_enough
    assert explanation.numbers.eto_assumed


def test_the_growers_normals_take_the_place_of_the_assumed_ones(tmp_path: Path) -> None:
    normals = "[normals]\neto_mm_d = [0, 0, 0, 0, 0, 0, 6, 0, 0, 0, 0, 0]\n"
    found = explain(changed(tmp_path, ("[meters.main]", normals + "[meters.main]"))).numbers
    assert (found.eto_mm_d, found.eto_assumed) == (6.0, False)


def test_high_summer_is_january_south_of_the_equator(tmp_path: Path) -> None:
    garden = changed(
        tmp_path, ("= 47.6", "= -37.8"), ("America/Los_Angeles", "Australia/Melbourne")
    )
    found = explain(garden).numbers
    assert found.month == 1
    assert list(found.timer[0].every_days) == [11, 12, 1, 2, 3]


def test_a_timer_gives_what_the_plants_use_and_seldom_passes_the_line(example: Garden) -> None:
    found = explain(example).numbers
    for bed, line in zip(found.beds, found.timer, strict=True):
        every = line.every_days[7]
        assert every <= bed.interval_d + 0.25
        used_l = bed.demand_l_d * every
        assert used_l <= line.minutes * bed.flow_l_min < used_l + bed.flow_l_min


@pytest.mark.parametrize(
    ("at_once", "litres", "expected"),
    [
        # 2.4 L/min: 96 L are one pulse of 40 min
        pytest.param(1, {"south": 96.0}, 40, id="one-pulse"),
        pytest.param(1, {"south": 96.0, "wall": 96.0}, 80, id="one-after-the-other"),
        pytest.param(2, {"south": 96.0, "wall": 96.0}, 40, id="side-by-side"),
        # 192 L are two pulses of 40 min with half an hour of soak
        pytest.param(1, {"south": 192.0}, 110, id="soak-between-pulses"),
        pytest.param(1, {"south": 192.0, "wall": 192.0}, 160, id="one-drinks-while-one-soaks"),
    ],
)
def test_the_night_is_played_through(
    tmp_path: Path, at_once: int, litres: dict[str, float], expected: int
) -> None:
    garden = changed(tmp_path, ("beds_at_once = 3", f"beds_at_once = {at_once}"))
    assert minutes_for_all(garden, litres) == expected


def test_beds_drink_together_only_within_the_supply(tmp_path: Path) -> None:
    narrow = changed(tmp_path, ("flow_l_min = 14.0", "flow_l_min = 4.0"))  # 0.9 x 4 < 2 x 2.4
    assert minutes_for_all(narrow, {"south": 96.0, "wall": 96.0}) == 80


CAUTIONS = {
    Caution.NO_METER: [('meter = "main"', "")],
    Caution.COARSE_METER: [("litres_per_pulse = 0.1", "litres_per_pulse = 1.0")],
    Caution.NO_MASTER: [('[valves.master]\nrole = "master"', "")],
    Caution.PLAIN_RELAY: [
        ("[valves.hedge]", '[valves.hedge]\nsay = {topic = "r/1", open = "1", close = "0"}')
    ],
    Caution.NO_WEATHER: [("[weather.mast]", "")],
    Caution.NIGHT_FULL: [('"22:00-sunrise"', '"00:30-sunrise"')],
    Caution.NIGHT_SHORT: [("beds_at_once = 3", "beds_at_once = 1")],
    Caution.CAP_BELOW_REFILL: [("[meters.main]", "[limits]\ndose_l = 200\n[meters.main]")],
    Caution.STARTS_BELOW_REFILL: [
        ('"22:00-sunrise"', '"18:00-14:00"'),
        ("[meters.main]", "[limits]\nopen_max_s = 420\n[meters.main]"),
    ],
    Caution.NO_PROBES: [('probes = ["wall-20", "wall-40"]', "")],
    Caution.ONE_DEPTH: [('probes = ["wall-20", "wall-40"]', 'probes = ["wall-20"]')],
    Caution.PROBE_BELOW_ROOTS: [
        ("depth_cm = 40\nevery_s = 600\ncal", "depth_cm = 90\nevery_s = 600\ncal")
    ],
    Caution.UNCALIBRATED: [("calibration = [[2900, 0.04], [1350, 0.42]]", "")],
    Caution.LIGHT_SOIL: [
        ("field_capacity_m3_m3 = 0.30", "field_capacity_m3_m3 = 0.195"),
        ("wetted_width_m = 0.7", "wetted_width_m = 1.0"),
    ],
    Caution.UNTRIED: [('crop = "tomato"', 'crop = "cucumber"')],
    Caution.UNUSED: [("[valves.hedge]", "[valves.hedge]\n[valves.spare]")],
    Caution.PLASTIC: [],
    Caution.LEAN: [("lean = 0.4", "lean = 0.8")],
    Caution.OFTEN: [("wetted_width_m = 0.7", "wetted_width_m = 0.2")],
    Caution.SHARED_WATER: [("pressure_kpa = 150", "shared = true")],
    Caution.SHORT_OF_WATER: [("pressure_kpa = 150", "litres_per_week = 1000")],
    Caution.TRIAL_BROKER: [('url = "mqtt://127.0.0.1:1883"', 'url = "builtin"')],
    Caution.NO_ALARM: [],
    Caution.OPEN_PAGE: [('listen = "127.0.0.1:8470"', 'listen = "0.0.0.0:8470"')],
}


LEAVE_DEVICES_IDLE = {Caution.NO_METER, Caution.NO_PROBES, Caution.ONE_DEPTH}


def test_every_caution_has_a_garden_that_earns_it() -> None:
    assert set(CAUTIONS) == set(Caution)


@pytest.mark.parametrize(("code", "changes"), CAUTIONS.items(), ids=CAUTIONS.keys())
def test_a_garden_earns_its_caution_and_no_line_is_too_long(
    tmp_path: Path, code: Caution, changes: list[tuple[str, str]]
) -> None:
    explanation = explain(changed(tmp_path, *changes))
    earned = {caution.code for caution in explanation.cautions}
    also = {Caution.UNUSED} if code in LEAVE_DEVICES_IDLE else set()
    assert earned == {code, Caution.PLASTIC, Caution.NO_ALARM} | also
    text = render(explanation)
    assert max(map(len, text.splitlines())) <= 80
    words = " ".join(text.split())
    assert all(" ".join(caution.text.split()) in words for caution in explanation.cautions)


def test_check_promises_no_more_than_twelve_starts_can_give(tmp_path: Path) -> None:
    garden = changed(tmp_path, *CAUTIONS[Caution.STARTS_BELOW_REFILL])
    explanation = explain(garden)
    text = render(explanation)
    most_l = 12 * 6.0 * 2.4  # twelve openings of 7 minutes, one of them for the meter's sake
    south = explanation.numbers.beds[0]
    assert south.bed_l_day > most_l
    assert south.starts_l_day == pytest.approx(most_l)
    rows = [line.split() for line in text.split("The most that can ever be")[1].splitlines()]
    assert ["south", f"{most_l:.0f}", "L,"] in [row[:3] for row in rows]
    beds = explanation.numbers.beds
    all_l = sum(min(bed.bed_l_day, bed.starts_l_day) for bed in beds)
    assert ["all", "beds", f"{all_l:.0f}", "L"] in rows


@pytest.mark.parametrize(
    ("soil", "earned"),
    [
        pytest.param("sand", True, id="sand"),  # 0.012 of 0.053 m3/m3
        pytest.param("loamy sand", True, id="loamy-sand"),  # of 0.069
        pytest.param("sandy loam", False, id="sandy-loam"),  # of 0.098
    ],
)
def test_soil_that_probes_hardly_tell_of_is_cautioned(
    tmp_path: Path, soil: str, earned: bool
) -> None:
    explanation = explain(changed(tmp_path, ('soil = "loam"', f'soil = "{soil}"')))
    told = [one for one in explanation.cautions if one.code is Caution.LIGHT_SOIL]
    assert [one.bed for one in told] == ["south"] * earned


@pytest.mark.parametrize(
    ("told", "said"),
    [
        pytest.param("tank_l = 3000", "A full tank of 3000 L lasts about", id="tank"),
        pytest.param('days = ["mon", "thu"]', "Water may run on mon, thu only", id="days"),
        pytest.param("litres_per_week = 1000", "The week's 1000 L cover", id="week"),
    ],
)
def test_scarce_water_has_its_cost_told(tmp_path: Path, told: str, said: str) -> None:
    explanation = explain(changed(tmp_path, ("pressure_kpa = 150", told)))
    assert any(said in caution.text for caution in explanation.cautions)


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(0.4, "0 min"), (59.4, "59 min"), (59.6, "1 h 00"), (119.0, "1 h 59"), (132.0, "2 h 12")],
)
def test_from_an_hour_on_minutes_are_said_as_hours(minutes: float, said: str) -> None:
    assert span(minutes) == said


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ('days = ["mon"]', "a dry July has"),
        ("litres_per_week = 1500", "past its thirst line"),
        ("tank_l = 1000", "of them take 13 fillings"),
        ("tank_l = 30", "by itself it would never be watered"),
        ("litres_per_week = 60", "by itself it would never be watered"),
    ],
)
def test_what_scarcity_costs_is_played_through(tmp_path: Path, told: str, words: str) -> None:
    explanation = explain(changed(tmp_path, ("pressure_kpa = 150", told)))
    text = " ".join(caution.text for caution in explanation.cautions)
    assert words in text
    assert explanation.scarcity is not None


def played(tmp_path: Path, told: str) -> Scarcity:
    found = explain(changed(tmp_path, ("pressure_kpa = 150", told))).scarcity
    assert found is not None
    return found


def test_enough_water_costs_nothing_and_less_costs_more(tmp_path: Path) -> None:
    assert explain(load_garden(find_garden("hollin-lane"))).scarcity is None
    rich = played(tmp_path, "litres_per_week = 9000")
    assert rich.limited == rich.free
    assert rich.free.stress_days == 0
    assert rich.free.drinks_frac == pytest.approx(1.0)
    weeks = [played(tmp_path, f"litres_per_week = {n}").limited for n in (2500, 2000, 1500, 800)]
    for more, less in pairwise([rich.limited, *weeks]):
        assert less.stress_days > more.stress_days
        assert less.past_floor_days >= more.past_floor_days
        assert less.drinks_frac < more.drinks_frac
    for n, week in zip((2500, 2000, 1500, 800), weeks, strict=True):
        assert week.litres <= (31 / 7 + 1) * n
        assert week.past_floor_days <= week.stress_days <= week.bed_days == 4 * 31


def test_two_days_a_week_cost_less_than_one(tmp_path: Path) -> None:
    one, two = (played(tmp_path, f"days = {days}") for days in ('["mon"]', '["mon", "thu"]'))
    assert one.limited.stress_days > two.limited.stress_days > 0
    every = '["mon", "tue", "wed", "thu", "fri", "sat", "sun"]'
    assert explain(changed(tmp_path, ("pressure_kpa = 150", f"days = {every}"))).scarcity is None


def test_the_words_name_each_bed_the_night_and_the_codes(example: Garden) -> None:
    text = render(explain(example))
    for word in ("south", "wall", "low", "hedge", "22:00-sunrise", "backflow", "assumed from"):
        assert word in text
    assert "{" not in text


def test_american_units_are_for_the_reader_only(tmp_path: Path) -> None:
    garden = changed(tmp_path, ('units = "metric"', 'units = "us"'))
    metric = explain(load_garden(find_garden("hollin-lane")))
    us = explain(garden)
    assert us.numbers == metric.numbers
    assert " gal" in render(us)
    assert METRIC_LEFT.findall(render(us)) == []
    assert METRIC_LEFT.findall(render(metric)) != []


@pytest.mark.parametrize("changes", CAUTIONS.values(), ids=CAUTIONS.keys())
def test_no_caution_speaks_metric_to_a_garden_in_gallons(
    tmp_path: Path, changes: list[tuple[str, str]]
) -> None:
    us = ('units = "metric"', 'units = "us"')
    assert METRIC_LEFT.findall(render(explain(changed(tmp_path, us, *changes)))) == []


def test_a_long_bed_name_does_not_break_the_columns(tmp_path: Path) -> None:
    long = "the bed behind the old greenhouse wall"
    garden = changed(tmp_path, ("[beds.wall]", f'[beds."{long}"]'))
    lines = render(explain(garden)).splitlines()
    assert max(map(len, lines)) <= 80
    assert any("the bed beh…" in line for line in lines)


def test_an_explanation_is_json(example: Garden) -> None:
    read = json.loads(json.dumps(dataclasses.asdict(explain(example)), allow_nan=False))
    assert read["garden"] == "hollin-lane"
    assert len(read["numbers"]["beds"]) == 4


def test_check_says_by_which_ways_alarms_get_out(tmp_path: Path) -> None:
    mail = 'mail = {host = "m.example", to = ["a@b.example"]}'
    alarm = f'[alarm]\n{mail}\ncommand = ["/usr/bin/tell", "me"]\n[supply]'
    explanation = explain(changed(tmp_path, ("[supply]", alarm)))
    assert Caution.NO_ALARM not in {caution.code for caution in explanation.cautions}
    words = " ".join(render(explanation).split())
    assert "Alarms are told by the page and MQTT, mail to a@b.example, the command tell." in words
