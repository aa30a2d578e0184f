"""Makes the drawings beside it: `python hardware_notes/drawings/draw.py`; `--check` writes nothing.

Low-voltage side only. Nothing to scale unless a measure stands at it.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from sheet import EARTH, INK, LEAF, PAPER, SOFT, WARM, WATER, Sheet

HERE = Path(__file__).parent
ROOF = 150  # [px] where the soil begins in the section


def fittings() -> Sheet:
    """The order of fittings, from the supply to the plants."""
    sheet = Sheet(980, 520, "Order of fittings from the supply to the drip lines")
    sheet.text(20, 30, "From the supply to the plants", size=18, at="start", bold=True)
    names = (
        ("1", "supply"), ("2", "hand valve"), ("3", "backflow\ndevice"), ("4", "master\nvalve"),
        ("5", "filter"), ("6", "meter"), ("7", "pressure\nregulator"),
    )  # fmt: skip
    sheet.line((20, 105), (940, 105), ink=WATER, wide=5)
    for place, (number, name) in enumerate(names):
        x = 30 + 132 * place
        sheet.box(x, 75, 100, 60, name)
        sheet.text(x, 68, number, size=13, at="start", ink=SOFT, bold=True)
    sheet.line((940, 105), (940, 200), (100, 200), ink=WATER, wide=5)
    sheet.text(620, 190, "manifold", size=13, ink=SOFT)
    for place, bed in enumerate(("south", "wall", "low", "hedge")):
        x = 100 + 230 * place
        sheet.line((x, 200), (x, 420), ink=WATER, wide=4)
        sheet.box(x - 42, 230, 84, 46, "bed valve", size=13)
        sheet.text(x - 42, 225, "8", size=13, at="start", ink=SOFT, bold=True)
        sheet.ring(x, 312, 11, 11, fill=PAPER)
        sheet.text(x + 18, 317, "9 air relief", size=13, at="start", ink=SOFT)
        for row in (350, 385):
            sheet.line((x, row), (x + 120, row), ink=WATER)
            for drop in range(5):
                sheet.dot(x + 20 + 22 * drop, row + 8, 3, WATER)
        sheet.text(x + 62, 374, bed, size=12, ink=SOFT)
        sheet.shape((x - 9, 420), (x + 9, 420), (x, 436), fill=WATER, ink=WATER)
        sheet.text(x + 16, 436, "10 flush end", size=13, at="start", ink=SOFT)
    for x, y in ((278, 105), (410, 105), (940, 200)):
        sheet.line((x, y), (x, y + 43), ink=WARM)
        sheet.shape((x - 6, y + 43), (x + 6, y + 43), (x, y + 55), fill=WARM, ink=WARM)
    sheet.shape((26, 470), (38, 470), (32, 482), fill=WARM, ink=WARM)
    sheet.text(
        48, 482, "drain for the winter, at the lowest place of its stretch", size=13, at="start"
    )
    sheet.text(
        20, 506, "With an atmospheric vacuum breaker at 3 no valve may follow: it does not fit here. "
        "Local code decides on 2 and 3.", size=13, at="start", ink=WARM,
    )  # fmt: skip
    return sheet


def valve_box() -> Sheet:
    """What goes where in the box of a valve node."""
    sheet = Sheet(
        980, 560, "Inside the box of a valve node: fuses, switches, terminals, cables, coils"
    )
    sheet.text(20, 30, "The box of a valve node, low voltage only", size=18, at="start", bold=True)
    sheet.box(250, 50, 440, 440, dash="7 5", ink=SOFT)
    sheet.text(680, 70, "box: IP65, glands below", size=13, at="end", ink=SOFT)
    sheet.box(
        20,
        60,
        170,
        90,
        "low-voltage supply\nfused, listed\n(its mains side is\nthe electrician's)",
        size=13,
    )
    sheet.line((190, 80), (290, 80), (290, 447), ink=WARM)
    sheet.fuse(200, 80, "main fuse")
    sheet.line((190, 130), (260, 130), (260, 520), (880, 520))
    sheet.text(
        400,
        512,
        "common return: carries the sum of all coils that are on",
        size=13,
        at="start",
        ink=SOFT,
    )
    for place, valve in enumerate(("south", "wall", "low", "hedge", "master")):
        y = 110 + 62 * place
        sheet.dot(290, y, 4, WARM)
        sheet.line((290, y), (800, y), ink=WARM)
        sheet.fuse(320, y)
        sheet.box(400, y - 18, 120, 36, f"switch {place + 1}", size=13)
        sheet.box(600, y - 12, 60, 24, valve, size=12)
        sheet.text(735, y - 8, "cable", size=12, ink=SOFT)
        sheet.box(790, y - 18, 70, 36, "coil and\nsuppressor", size=11)
        sheet.line((860, y), (900, y), (900, 520), (880, 520))
    sheet.box(320, 422, 130, 50, "converter\nfor the board", size=13)
    sheet.line((290, 447), (320, 447), ink=WARM)
    sheet.line((385, 472), (385, 520))
    sheet.dot(385, 520)
    sheet.box(490, 422, 160, 50, "board of the node", size=13)
    sheet.arrow(450, 447, 490, 447)
    sheet.line((560, 422), (560, 100), dash="4 4", ink=SOFT)
    for place in range(5):
        sheet.arrow(560, 122 + 62 * place, 522, 122 + 62 * place, ink=SOFT)
    sheet.text(566, 408, "control", size=12, at="start", ink=SOFT)
    sheet.line((650, 440), (790, 440))
    sheet.line((650, 454), (790, 454))
    sheet.text(735, 433, "2 wires", size=12, ink=SOFT)
    sheet.box(790, 428, 90, 38, "meter,\ncontact", size=12)
    sheet.text(20, 548, "One fuse a coil, each about twice its holding current; red: supply, black: return and signals.",
               size=13, at="start")  # fmt: skip
    return sheet


def output_dc() -> Sheet:
    """One output for a DC coil."""
    sheet = Sheet(
        890,
        430,
        "One output for a 12 V DC coil: fuse, switch in the plus, coil with diode, pull-down",
    )
    sheet.text(20, 30, "One output, DC coil", size=18, at="start", bold=True)
    sheet.text(20, 76, "+12 V DC", at="start", ink=WARM)
    sheet.line((100, 71), (620, 71), (620, 120), ink=WARM)
    sheet.fuse(150, 71, "fuse, slow")
    sheet.box(270, 45, 140, 52, "high-side switch,\nbears a short", size=13)
    sheet.text(500, 60, "cable to the valve", size=12, ink=SOFT)
    sheet.box(590, 120, 60, 90, "coil")
    sheet.line((620, 210), (620, 255), (90, 255))
    sheet.text(20, 260, "return", at="start")
    sheet.line((620, 95), (740, 95), (740, 145))
    sheet.line((740, 178), (740, 230), (620, 230))
    sheet.dot(620, 95)
    sheet.dot(620, 230)
    sheet.shape((740, 145), (722, 178), (758, 178), fill=INK)
    sheet.line((722, 145), (758, 145), wide=3)
    sheet.text(770, 165, "diode at the coil,\nring to plus", size=12, at="start", ink=SOFT)
    sheet.box(60, 145, 110, 40, "board, output", size=13)
    sheet.line((170, 165), (340, 165))
    sheet.resistor(195, 165, "1 kΩ")
    sheet.arrow(340, 165, 340, 99)
    sheet.dot(290, 165)
    sheet.line((290, 165), (290, 178))
    sheet.resistor(290, 178, "10 kΩ", upright=True)
    sheet.line((290, 222), (290, 255))
    sheet.dot(290, 255)
    sheet.text(
        20,
        310,
        "The 10 kΩ holds the coil off while the board starts or is missing. Without the diode the coil's kick\n"
        "kills the switch. The switch stands in the plus: a cable chafed to earth blows the fuse, and does not\n"
        "open the valve.",
        size=13,
        at="start",
    )
    sheet.text(
        20,
        400,
        "The switch is rated for twice the coil's current and four times the supply's voltage, or protects itself.",
        size=13,
        at="start",
        ink=SOFT,
    )
    return sheet


def output_ac() -> Sheet:
    """One output for an AC coil."""
    sheet = Sheet(
        860, 390, "One output for a 24 V AC coil: fuse, relay contact, varistor at the coil"
    )
    sheet.text(20, 30, "One output, AC coil", size=18, at="start", bold=True)
    sheet.text(20, 76, "24 V AC", at="start", ink=WARM)
    sheet.line((90, 71), (300, 71), ink=WARM)
    sheet.fuse(150, 71, "fuse, slow")
    sheet.dot(300, 71, 4)
    sheet.line((300, 71), (348, 50))
    sheet.dot(352, 71, 4)
    sheet.line((352, 71), (620, 71), (620, 110), ink=WARM)
    sheet.text(326, 36, "relay contact, open at rest", size=12, ink=SOFT)
    sheet.text(480, 60, "cable to the valve", size=12, ink=SOFT)
    sheet.box(590, 110, 60, 90, "coil")
    sheet.line((620, 200), (620, 250), (90, 250))
    sheet.text(20, 255, "return", at="start")
    sheet.line((620, 90), (730, 90), (730, 125))
    sheet.line((730, 185), (730, 225), (620, 225))
    sheet.dot(620, 90)
    sheet.dot(620, 225)
    sheet.box(718, 125, 24, 60)
    sheet.line((708, 195), (716, 195), (744, 115))
    sheet.text(
        756,
        150,
        "varistor, or\nresistor and\ncapacitor: never\na plain diode",
        size=12,
        at="start",
        ink=SOFT,
    )
    sheet.box(280, 130, 92, 46, "relay coil", size=13)
    sheet.line((326, 130), (326, 66), dash="4 4", ink=SOFT)
    sheet.text(
        384,
        150,
        "driven as on the drawing for a\nDC coil, its diode included",
        size=12,
        at="start",
        ink=SOFT,
    )
    sheet.text(
        20, 300, "A varistor ages and can fail shorted: the fuse stands ahead of it. The contact is rated for\n"
        "the inrush of the coil. Where the drive wants a signal that toggles (BEAT_PIN), a stuck pin drops\n"
        "every relay.", size=13, at="start",
    )  # fmt: skip
    return sheet


def meter_input() -> Sheet:
    """The meter's contact at the board."""
    sheet = Sheet(860, 330, "The meter's pulse contact: pull-up, resistor, capacitor, surge part")
    sheet.text(20, 30, "The meter's pulses", size=18, at="start", bold=True)
    sheet.box(40, 120, 110, 90, "meter,\ndry contact")
    sheet.line((150, 140), (640, 140))
    sheet.line((150, 190), (560, 190))
    sheet.text(215, 130, "cable", size=12, ink=SOFT)
    sheet.line((300, 140), (300, 152))
    sheet.dot(300, 140)
    sheet.box(284, 152, 32, 28, "")
    sheet.line((288, 177), (312, 155))
    sheet.line((300, 180), (300, 190))
    sheet.dot(300, 190)
    sheet.text(300, 222, "surge part where a\nlong cable comes in", size=12, ink=SOFT)
    sheet.resistor(380, 140, "1 kΩ")
    sheet.line((470, 140), (470, 116))
    sheet.dot(470, 140)
    sheet.resistor(470, 72, "4.7 kΩ", upright=True)
    sheet.line((470, 72), (470, 60))
    sheet.text(470, 52, "+3.3 V of the board", size=12, ink=WARM)
    sheet.line((560, 140), (560, 158))
    sheet.dot(560, 140)
    sheet.line((544, 158), (576, 158), wide=3)
    sheet.line((544, 166), (576, 166), wide=3)
    sheet.line((560, 166), (560, 190))
    sheet.dot(560, 190)
    sheet.text(584, 168, "100 nF", size=12, at="start", ink=SOFT)
    sheet.line((560, 190), (560, 226))
    sheet.ground(560, 226)
    sheet.box(640, 118, 150, 46, "board, METER_PIN", size=13)
    sheet.text(20, 285, "Resistor and capacitor smooth the contact's bounce; the firmware leaves out what comes within 20 ms.\n"
               "A meter with an electronic output may need its own supply and polarity: its sheet decides.",
               size=13, at="start")  # fmt: skip
    return sheet


def probe_node() -> Sheet:
    """A probe node on a battery."""
    sheet = Sheet(860, 360, "A probe node: battery with fuse, board, two probes, divider")
    sheet.text(20, 30, "A probe node", size=18, at="start", bold=True)
    sheet.box(30, 110, 110, 80, "battery with\nprotection", size=13)
    sheet.line((140, 130), (330, 130), ink=WARM)
    sheet.fuse(165, 130, "fuse at the cell")
    sheet.line((140, 175), (330, 175))
    sheet.box(330, 80, 150, 190, "board,\nsleeps between\nreadings", size=13)
    sheet.line((250, 130), (250, 200), ink=WARM)
    sheet.dot(250, 130, 4, WARM)
    sheet.resistor(250, 200, "100 kΩ", upright=True)
    sheet.line((250, 244), (250, 262))
    sheet.resistor(250, 262, "100 kΩ", upright=True)
    sheet.line((250, 306), (250, 318))
    sheet.ground(250, 318)
    sheet.dot(250, 253)
    sheet.line((250, 253), (330, 253))
    sheet.text(118, 250, "BATTERY_PIN\nsees half the\nvoltage", size=12, ink=SOFT)
    for place, (name, pin) in enumerate((("shallow", "32"), ("deep", "33"))):
        y = 100 + 95 * place
        sheet.box(650, y, 170, 62, f"probe, {name}\nto pin {pin}", size=13)
        sheet.line((480, y + 16), (650, y + 16), ink=WARM)
        sheet.line((480, y + 31), (650, y + 31))
        sheet.line((480, y + 46), (650, y + 46), ink=SOFT)
    sheet.text(565, 108, "PROBE_POWER_PIN", size=12, ink=WARM)
    sheet.text(
        565, 290, "red: power, only while read;\nblack: minus; grey: signal", size=12, ink=SOFT
    )
    sheet.text(
        420, 344, "Pot the probes' electronics; let no joint lie bare in soil.", size=13, at="start"
    )
    return sheet


def probe_plan() -> Sheet:
    """Where probes go, from above."""
    sheet = Sheet(860, 360, "Where probes go, seen from above")
    sheet.text(20, 30, "Where probes go, from above", size=18, at="start", bold=True)
    sheet.box(40, 70, 780, 190, fill=EARTH, ink=EARTH)
    for y in (130, 200):
        sheet.line((40, y), (820, y), ink=WATER, wide=3)
        for drop in range(13):
            sheet.dot(65 + 60 * drop, y, 5, WATER)
    for place in range(7):
        sheet.ring(85 + 118 * place, 165, 20, 20, fill="#cfe0c4", ink=LEAF)
    for x, name in ((380, "20 cm"), (498, "40 cm")):
        sheet.box(x - 9, 143, 18, 18, fill=WARM, ink=WARM)
        sheet.text(x, 92, name, size=13, ink=WARM)
        sheet.line((x, 97), (x, 142), ink=WARM, dash="3 4")
    sheet.measure(321, 236, 439, 236, "60 cm")
    sheet.line((321, 187), (321, 240), ink=SOFT, dash="3 4")
    sheet.line((439, 187), (439, 240), ink=SOFT, dash="3 4")
    sheet.text(50, 252, "end plant: not here", size=13, at="start", ink=SOFT)
    sheet.text(
        40, 290, "Blue: drip lines and emitters. Red: probes, halfway between two plants of the row, 10 to 15 cm\n"
        "from a drip line, not under an emitter, not at the end of the row, nor on the path's side.\n"
        "A second pair on the ground that dries first is worth more than a third depth.",
        size=13, at="start",
    )  # fmt: skip
    return sheet


def probe_section() -> Sheet:
    """Where probes go, in a section across the row."""
    sheet = Sheet(860, 480, "Where probes go, in a section across the row")
    sheet.text(20, 30, "Where probes go, across the row", size=18, at="start", bold=True)
    sheet.box(60, ROOF, 500, 290, fill=EARTH, ink=EARTH)
    sheet.line((60, ROOF), (560, ROOF))
    sheet.ring(310, 105, 60, 42, fill="#cfe0c4", ink=LEAF)
    sheet.line((310, 147), (310, ROOF), ink=LEAF, wide=4)
    for x in (235, 385):
        sheet.dot(x, ROOF - 6, 7, WATER)
        sheet.ring(x, ROOF + 112, 105, 112, ink=WATER, dash="6 5")
    sheet.text(310, ROOF + 262, "wetted strip, roots within", size=13, ink=WATER)
    for y, x in ((ROOF + 100, 285), (ROOF + 200, 285)):
        sheet.box(x, y - 6, 50, 12, fill=WARM, ink=WARM)
        sheet.line((x + 50, y), (590, y), ink=WARM, dash="3 4")
    sheet.text(
        600,
        ROOF + 96,
        "shallow, lying level at 20 cm:\namong the roots",
        size=13,
        at="start",
        ink=WARM,
    )
    sheet.text(600, ROOF + 196, "deep, at 40 cm: near their\nbottom; its rise after a watering\nsays that water ran through",
               size=13, at="start", ink=WARM)  # fmt: skip
    sheet.measure(100, ROOF, 100, ROOF + 100, "20 cm")
    sheet.measure(160, ROOF, 160, ROOF + 200, "40 cm")
    sheet.line(
        (285, ROOF + 100),
        (262, ROOF + 100),
        (262, ROOF + 130),
        (222, ROOF + 130),
        (222, ROOF),
        ink=INK,
        wide=1.5,
    )
    sheet.text(205, ROOF - 34, "drip line", size=12, at="end", ink=WATER)
    sheet.text(
        600,
        80,
        "The cable leaves downward first,\nso that water does not run along it\nto the probe.",
        size=13,
        at="start",
    )
    sheet.text(60, 466, "Pushed into the side of a small pit, into soil that was not dug; the pit filled and trodden in layers.",
               size=13, at="start")  # fmt: skip
    return sheet


def scale() -> Sheet:
    """Calibrating a probe on a kitchen scale."""
    sheet = Sheet(900, 330, "Calibrating a probe with a kitchen scale, in four steps")
    sheet.text(20, 30, "A probe, a pot and a kitchen scale", size=18, at="start", bold=True)
    steps = (
        ("1  weigh the\nempty pot", "", False), ("2  dry soil in,\npacked as in the bed", "dry", False),
        ("3  read the\nprobe", "dry", True), ("4  add weighed water,\nmix, pack, read again", "moist", True),
    )  # fmt: skip
    for place, (words, soil, probe) in enumerate(steps):
        x = 40 + 215 * place
        fill = {"": PAPER, "dry": EARTH, "moist": "#c9b48f"}[soil]
        sheet.shape((x + 20, 110), (x + 150, 110), (x + 135, 205), (x + 35, 205), fill=fill)
        sheet.box(x, 208, 170, 34, ("180 g", "2780 g", "2780 g", "2980 g")[place], size=14)
        if probe:
            sheet.box(x + 76, 80, 18, 95, fill=WARM, ink=WARM)
            sheet.line((x + 85, 80), (x + 85, 62), (x + 130, 62))
        sheet.text(x + 85, 270, words, size=13)
        if place < 3:
            sheet.arrow(x + 178, 160, x + 204, 160)
    sheet.text(20, 318, "Water content = grams of water / millilitres of soil. Here 52 g kept and 200 g added, in 2000 mL: 0.126.",
               size=13, at="start")  # fmt: skip
    return sheet


DRAWINGS: dict[str, Callable[[], Sheet]] = {
    "fittings": fittings,
    "valve_box": valve_box,
    "output_dc": output_dc,
    "output_ac": output_ac,
    "meter_input": meter_input,
    "probe_node": probe_node,
    "probe_plan": probe_plan,
    "probe_section": probe_section,
    "scale": scale,
}


def main() -> int:
    """Write all, or say which are out of date."""
    stale = []
    for name, make in DRAWINGS.items():
        path, text = HERE / f"{name}.svg", make().svg()
        if "--check" in sys.argv:
            kept = path.read_text(encoding="utf-8") if path.exists() else ""
            stale += [name] if kept != text else []
        else:
            path.write_text(text, encoding="utf-8")
    sys.stdout.write(
        f"out of date: {', '.join(stale)}\n" if stale else f"{len(DRAWINGS)} drawings\n"
    )
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
