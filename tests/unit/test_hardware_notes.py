"""The hardware notes: links, cautions, drawings, numbers worked out again, names that exist."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
import xml.etree.ElementTree as ET
from math import pi, sqrt
from pathlib import Path

import pytest

from api.cli import main
from controller.agronomy.emitter import emission_uniformity_frac, emitter_l_h
from controller.agronomy.soil import CLASSES, soil_class
from controller.alarming.codes import AlertCode
from controller.explain import explain
from controller.garden import load_garden
from sim.examples import find_garden
from tests.unit.test_docs import BLOCK, anchors, coded

ROOT = Path(__file__).parents[2]
NOTES = ROOT / "hardware_notes"
DRAWINGS = NOTES / "drawings"
MADE = {"hazards.md", "first_day.md"}  # by programs, and held by tests of their own
FILES = sorted(path for path in NOTES.rglob("*.md") if path.name not in MADE)
NAMES = [str(path.relative_to(NOTES)) for path in FILES]
CAUTION = "a licensed plumber and a licensed electrician decide"
SOURCED = ("common practice", "from memory", "second hand", "worked out here", "Not tried")
COPPER_PER_C = 0.00393
OHM_KM = {"0.75": 24.5, "18 AWG": 21.4, "1.5": 12.1, "2.5": 7.41}  # at 20 °C


def text_of(name: str) -> str:
    return (NOTES / name).read_text(encoding="utf-8")


def plain(name: str) -> str:
    """All on one line, emphasis left out."""
    return re.sub(r"\s+", " ", text_of(name).replace("*", ""))


def test_there_are_a_dozen_files_of_readable_size() -> None:
    assert len(FILES) >= 12
    assert all(len(text_of(name).splitlines()) <= 160 for name in NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_every_link_and_anchor_resolves(name: str) -> None:
    text, lost = BLOCK.sub("", text_of(name)), []
    for link in re.findall(r"\]\(([^)\s]+)\)", text):
        if link.startswith(("https://", "http://")):
            continue
        file, _, anchor = link.partition("#")
        path = (NOTES / name).parent / file if file else NOTES / name
        if not path.exists() or (anchor and anchor not in anchors(path)):
            lost.append(link)
    assert lost == []


@pytest.mark.parametrize("name", NAMES)
def test_every_file_defers_to_codes_and_licensed_people(name: str) -> None:
    assert CAUTION in plain(name)
    assert "Local codes" in plain(name)


@pytest.mark.parametrize("name", NAMES)
def test_every_file_says_where_its_facts_come_from(name: str) -> None:
    assert any(mark in plain(name) for mark in SOURCED), name


def test_the_index_names_every_file() -> None:
    index = text_of("README.md")
    linked = set(re.findall(r"\]\(([^)#\s]+\.md)\)", index))
    assert linked == {*NAMES, *MADE} - {"README.md"}


@pytest.mark.parametrize("name", NAMES)
def test_nobody_is_led_to_the_mains(name: str) -> None:
    text = plain(name).replace("120 V ripple-free DC", "")
    assert not re.search(r"\b(?:100|110|115|120|220|230|240|400) ?V(?:olts?)?\b", text)
    assert not re.search(r"\b(?:live|neutral|hot) (?:wire|conductor|terminal)", text, re.IGNORECASE)


@pytest.mark.parametrize("name", NAMES)
def test_blocks_commands_alerts_and_paths_exist(name: str) -> None:
    text = text_of(name)
    for kind, code in BLOCK.findall(text):
        assert kind in {"toml", "text", "sh"}
        if kind == "toml":
            tomllib.loads(code)
    words = set(re.findall(r"thirstline (?!thirstline\b)([a-z-]+)", "\n".join(coded(text))))
    assert words <= set(main.commands)
    paths = {code for code in coded(text) if code.startswith(("sim/", "tests/", "hardware_notes/"))}
    assert [path for path in paths if not (ROOT / path).exists()] == []


def test_what_fails_names_alerts_and_hazards_that_are() -> None:
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text_of("failing.md").splitlines()
        if line.startswith("| ") and not line.startswith("| what you see")
    ]
    told = set(re.findall(r"^\| \*\*([A-Z]\d+)\*\* \|", text_of("hazards.md"), re.MULTILINE))
    assert len(rows) > 20
    assert {code for row in rows for code in re.findall(r"`([a-z_]+)`", row[3])} <= set(AlertCode)
    assert {one for row in rows for one in row[4].split(", ")} <= told


# -- drawings


def test_the_drawings_are_as_their_script_makes_them() -> None:
    done = subprocess.run(
        [sys.executable, str(DRAWINGS / "draw.py"), "--check"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("path", sorted(DRAWINGS.glob("*.svg")), ids=lambda path: path.stem)
def test_a_drawing_is_whole_titled_shown_and_within_its_sheet(path: Path) -> None:
    tree = ET.fromstring(path.read_text(encoding="utf-8"))  # noqa: S314 - our own
    names = {name: "{http://www.w3.org/2000/svg}" + name for name in ("title", "text")}
    assert tree.findtext(names["title"])
    assert any(f"(drawings/{path.name})" in text_of(name) for name in NAMES)
    width, height = float(tree.attrib["width"]), float(tree.attrib["height"])
    for word in tree.iter(names["text"]):
        x, y, size = (float(word.attrib[key]) for key in ("x", "y", "font-size"))
        wide = 0.56 * size * len(word.text or "")
        left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[word.attrib["text-anchor"]] * wide
        assert left >= 0.0, word.text
        assert left + wide <= width + 8.0, word.text
        assert size <= y <= height - 2.0, word.text


# -- numbers worked out again


def reach_m(drop_v: float, amperes: float, wire: str) -> float:
    """How far two cores reach at 50 °C [m]."""
    return drop_v / (2.0 * amperes * OHM_KM[wire] / 1000.0 * (1.0 + 30.0 * COPPER_PER_C))


def friction_kpa(length_m: float, flow_l_min: float, inside_mm: float) -> float:
    """Hazen and Williams, C 150 [kPa]."""
    m3_s, metres = flow_l_min / 60_000.0, inside_mm / 1000.0
    return 9.81 * 10.67 * length_m * m3_s**1.852 / (150.0**1.852 * metres**4.87)


def test_the_wire_table_is_its_own_formula() -> None:
    rows = re.findall(r"^\| (24 V AC|12 V DC),.+?\| (\d+) m \| (\d+) m \| (\d+) m \| (\d+) m \|$",
                      text_of("wiring.md"), re.MULTILINE)  # fmt: skip
    assert len(rows) == 2
    for (coil, *told), (drop_v, amperes) in zip(rows, ((3.6, 0.45), (1.2, 0.5)), strict=True):
        for metres, wire in zip(told, OHM_KM, strict=True):
            assert int(metres) == pytest.approx(reach_m(drop_v, amperes, wire), abs=1.0), coil
    pulse = [round(reach_m(1.35, 2.0, wire)) for wire in ("0.75", "2.5")]
    assert f"reaches only {pulse[0]} to {pulse[1]} m" in plain("wiring.md")
    drop_v = 2 * 40 * OHM_KM["0.75"] / 1000.0 * (1.0 + 30.0 * COPPER_PER_C) * 0.45
    assert f"{drop_v:.2f} V, {100 * drop_v / 24:.0f} % of 24 V" in plain("wiring.md")


def test_the_meters_input_is_as_said() -> None:
    assert f"{3.3 * 1.0 / 5.7:.1f} V of 3.3 V" in plain("wiring.md")
    assert f"the capacitor's time is {4.7e3 * 100e-9 * 1000:.1f} ms" in plain("wiring.md")


def test_the_sums_of_the_worked_garden_are_the_gardens() -> None:
    garden, told = load_garden(find_garden("hollin-lane")), plain("sums.md")
    flows = sorted(bed.flow_l_min for bed in garden.beds.values())
    for name, bed in garden.beds.items():
        row = f"| {name} | {bed.emitters} | {bed.emitter_l_h} | {bed.flow_l_min:.2f} |"
        assert row in told
    assert f"{sum(flows[-3:]):.1f} L/min, within {0.9 * garden.supply.flow_l_min:.1f}" in told
    assert f"10 L in 43 s: {60 * 10 / 43:.1f} L/min" in told


def test_the_emitters_are_the_formulas() -> None:
    told = plain("sums.md")
    for x in (0.0, 0.5, 1.0):
        assert f"| {x:g} | {emitter_l_h(2.0, 150.0, 100.0, x):.2f} |" in told
    assert f"hardly any loss along the row: {emission_uniformity_frac(0.05, 3, 1, 1):.2f}" in told


def test_the_pressure_adds_up_as_told() -> None:
    told = plain("sums.md")
    share = 1 / 2.852 + 1 / 72 + sqrt(0.852) / (6 * 36**2)
    main_kpa, header_kpa = friction_kpa(25, 7.2, 20.4), friction_kpa(15, 2.4, 13.6)
    row_kpa = share * friction_kpa(14.4, 1.2, 13.6)
    head_kpa = 150.0 - main_kpa - 15.0 - header_kpa - 9.81
    for line in (
        f"7.2 L/min | - {main_kpa:.1f} |",
        f"2.4 L/min | - {header_kpa:.1f} |",
        f"at the head of the row | {head_kpa:.1f} |",
        f"× {share:.2f} | - {row_kpa:.1f} |",
        f"at its far end | {head_kpa - row_kpa:.1f} |",
        f"then gives {emitter_l_h(2.0, head_kpa, 100.0):.2f} L/h",
    ):
        assert line in told
    area_m2 = pi / 4 * 0.0204**2
    speeds = [f"{flow / 60_000 / area_m2:.2f} m/s" for flow in (7.2, 14.0)]
    assert f"is {speeds[0]}; the whole 14 L/min would be {speeds[1]}" in told


def test_the_battery_lasts_as_told() -> None:
    told = plain("batteries.md")
    for awake_s, words in (
        (4, "of which four fifths can be used lasts {} days"),
        (8, "it {} days"),
    ):
        mean_ma = (awake_s * 120 + (600 - awake_s) * 0.1) / 600
        assert words.format(round(0.8 * 2500 / mean_ma / 24)) in told
    assert "0.90 mA in the mean" in told


def test_the_pot_is_weighed_as_told() -> None:
    told = plain("calibrating.md")
    solids_g = 0.98 * (2780 - 180)
    kept_g = 2600 - solids_g
    assert f"{solids_g:.0f} g, so the air-dry pot holds {kept_g:.0f} g" in told
    points = [f"{(kept_g + more) / 2000:.3f}" for more in (0, 200, 400)]
    assert all(point in told for point in points)
    assert points[1] in (DRAWINGS / "scale.svg").read_text(encoding="utf-8")


def test_the_hand_waterers_litres_are_those_of_check() -> None:
    garden, told = load_garden(find_garden("hollin-lane")), plain("away.md")
    for line in explain(garden).numbers.beds:
        plants = garden.beds[line.bed].plants
        litres = round(line.refill_l)
        row = f"| {line.bed} | {litres} L | {plants} | {litres / plants:.1f} L |"
        assert row in told
    assert f"316 L at 2.4 L/min: {316 / 2.4:.0f} min" in told
    assert f"13 L a plant at 10 L/min: {60 * 13 / 10:.0f} s" in told


def test_what_soils_hold_for_plants_is_what_the_garden_file_takes() -> None:
    soils = {name: soil_class(name) for name in CLASSES}
    rows = re.findall(r"^\| ([a-z ]+) \| (0\.\d\d) \|$", text_of("probes.md"), re.M)
    assert dict(rows) == {
        name: f"{one.field_capacity_m3_m3 - one.wilting_point_m3_m3:.2f}"
        for name, one in soils.items()
    }
