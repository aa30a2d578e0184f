"""A sound garden file: defaults, derived amounts, topics, and the example that ships."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from controller.errors import UsageError
from controller.garden import Garden, load_garden
from sim.examples import example_names, find_garden

SMALLEST = """\
[garden]
id = "plot"
latitude = 47.6
longitude = -122.3
elevation_m = 60
timezone = "America/Los_Angeles"
[supply]
flow_l_min = 14
[beds."South & wall"]
transplanted = 2026-05-09
plants = 24
spacing_m = 0.6
width_m = 1.2
field_capacity_m3_m3 = 0.28
wilting_point_m3_m3 = 0.14
emitters = 48
emitter_l_h = 2
valve = "s"
[valves.s]
"""


@pytest.fixture
def example() -> Garden:
    return load_garden(find_garden("hollin-lane"))


def read(tmp_path: Path, text: str) -> Garden:
    path = tmp_path / "plot.toml"
    path.write_text(text, encoding="utf-8")
    return load_garden(path)


def test_what_the_file_leaves_out_has_its_default(tmp_path: Path) -> None:
    garden = read(tmp_path, SMALLEST)
    bed = garden.beds["South & wall"]
    assert (bed.crop, bed.habit, bed.mulch, bed.lines) == (("tomato",), "indeterminate", "none", 1)
    assert (bed.root_depth_m, bed.lean, bed.wetted_width_m) == (0.55, 0.5, 0.5)
    assert (garden.garden.hours, garden.garden.beds_at_once) == ("22:00-sunrise", 1)
    assert garden.valves["s"].role == "bed"
    assert (garden.limits.open_max_s, garden.blind_days) == (5400, 7)
    assert (garden.broker.host, garden.broker.port, garden.broker.on_loopback) == (
        "127.0.0.1",
        1883,
        True,
    )
    assert (garden.page.host, garden.page.port) == ("127.0.0.1", 8470)


def test_areas_flow_and_water_follow_from_the_bed(tmp_path: Path) -> None:
    garden = read(tmp_path, SMALLEST)
    bed = garden.beds["South & wall"]
    assert garden.bed_flow_l_min("South & wall") == pytest.approx(1.6)  # 48 x 2 L/h / 60
    assert garden.wetted_area_m2("South & wall") == pytest.approx(7.2)  # 24 x 0.6 m x 0.5 m
    assert garden.ground_area_m2("South & wall") == pytest.approx(17.28)  # 24 x 0.6 m x 1.2 m
    assert bed.taw_mm == pytest.approx(77.0)  # 1000 x (0.28 - 0.14) x 0.55 m
    assert bed.texture == "loam"
    assert bed.saturation_m3_m3 > bed.fc_m3_m3


def test_caps_follow_from_a_refill_from_the_floor(tmp_path: Path) -> None:
    caps = read(tmp_path, SMALLEST).limits_for("South & wall")
    # deepest floor 0.60, a refill stops at 0.05: 0.55 x 77 mm x 7.2 m2
    assert caps.refill_l == pytest.approx(304.9, abs=0.1)
    assert caps.bed_l_day == pytest.approx(457.4, abs=0.1)
    assert caps.dose_l == pytest.approx(396.4, abs=0.1)


def test_told_caps_hold_and_the_week_bounds_the_day(tmp_path: Path) -> None:
    told = SMALLEST + "[limits]\nbed_l_day = 300\ndose_l = 250\nblind_days = 3\n"
    garden = read(
        tmp_path, told.replace("flow_l_min = 14", "flow_l_min = 14\nlitres_per_week = 200")
    )
    assert garden.limits_for("South & wall").bed_l_day == 300
    assert garden.limits_for("South & wall").dose_l == 250
    assert (garden.site_l_day, garden.blind_days) == (200, 3)


@pytest.mark.parametrize(
    ("lines", "width", "expected"),
    [
        pytest.param(1, 1.2, 0.5, id="one-line"),
        pytest.param(2, 1.2, 0.8, id="two-lines"),
        pytest.param(3, 1.2, 1.1, id="three-lines"),
        pytest.param(4, 1.2, 1.2, id="no-wider-than-the-bed"),
        pytest.param(1, 0.4, 0.4, id="narrow-bed"),
    ],
)
def test_the_wetted_strip_follows_from_the_lines(
    tmp_path: Path, lines: int, width: float, expected: float
) -> None:
    text = SMALLEST.replace("width_m = 1.2", f"width_m = {width}\nlines = {lines}")
    bed = read(tmp_path, text).beds["South & wall"]
    assert bed.wetted_width_m == pytest.approx(expected)


def test_topics_have_their_usual_names_until_set(example: Garden) -> None:
    assert example.topic("probe", "wall-20") == "thirstline/hollin-lane/probe/wall-20"
    assert example.topic("probe", "south-20") == "plot/a1/soil"
    assert example.topic("meter", "main") == "thirstline/hollin-lane/meter/main"
    assert example.topic("weather", "mast") == "thirstline/hollin-lane/weather/mast"
    assert example.topic("lease", "south") == "thirstline/hollin-lane/valve/south/lease"
    assert example.topic("state", "master") == "thirstline/hollin-lane/valve/master/state"
    assert example.topic("canary") == "thirstline/hollin-lane/controller/canary"
    assert example.topic("controller_state") == "thirstline/hollin-lane/controller/state"
    assert example.topic("alert") == "thirstline/hollin-lane/alert"


def test_a_valve_and_the_garden_can_have_topics_of_their_own(tmp_path: Path) -> None:
    text = SMALLEST + 'topics = {lease = "x/open"}\n[topics]\nalert = "plot/alarm"\n'
    garden = read(tmp_path, text)
    assert garden.topic("lease", "s") == "x/open"
    assert garden.topic("close", "s") == "thirstline/plot/valve/s/close"
    assert garden.topic("alert") == "plot/alarm"


def test_a_plain_relay_is_taken_where_a_master_bounds_it(tmp_path: Path) -> None:
    text = SMALLEST + 'say = {topic = "r/1", open = "on", close = "off"}\n'
    garden = read(tmp_path, text + '[valves.main]\nrole = "master"\n')
    assert garden.valves["s"].plain_relay
    assert garden.master == "main"


def test_a_garden_survives_its_journal_form(example: Garden) -> None:
    assert Garden.model_validate_json(example.model_dump_json()) == example


def test_a_garden_cannot_be_changed(example: Garden) -> None:
    with pytest.raises(ValidationError, match="frozen"):
        setattr(example.beds["south"], "lean", 0.9)  # noqa: B010 - the plain form fails mypy


def test_the_example_is_the_plot_it_says(example: Garden) -> None:
    assert sum(bed.plants for bed in example.beds.values()) == 96
    assert all(len(bed.probes) == 2 for bed in example.beds.values())
    depths = {example.probes[p].depth_cm for bed in example.beds.values() for p in bed.probes}
    assert depths == {20.0, 40.0}
    assert {probe.kind for probe in example.probes.values()} == {"raw", "theta_m3_m3", "theta_pct"}
    assert (example.master, example.meter, list(example.weather)) == ("master", "main", ["mast"])


def test_an_example_is_found_by_name_and_a_file_by_path(tmp_path: Path) -> None:
    assert example_names() == ["hollin-lane"]
    assert find_garden("hollin-lane").name == "hollin-lane.toml"
    own = tmp_path / "own.toml"
    own.write_text("")
    assert find_garden(str(own)) == own
    assert find_garden("absent/own.toml") == Path("absent/own.toml")


@pytest.mark.parametrize("name", ["hollin-lan", "", "a\0b", "nothing"])
def test_an_unknown_name_is_refused_with_what_there_is(name: str) -> None:
    with pytest.raises(UsageError, match="hollin-lane"):
        find_garden(name)
