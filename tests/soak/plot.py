"""The plot that is soaked: 16 invented beds with 64 probes that each tell once a minute.

Each bed has two probes at 20 cm and two at 40 cm, a valve and 24 plants; a master valve stands
before all, a meter behind it. What breaks comes in turn, one trouble after the other, for as long
as the run lasts but its quiet end.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

BEDS = tuple(f"bed-{n:02d}" for n in range(1, 17))
PLACES = ("a20", "b20", "a40", "b40")
PROBES = tuple(f"{bed}-{place}" for bed in BEDS for place in PLACES)
EVERY_S = 60  # [s] garden time, between two words of a probe
SOILS = ("loam", "sandy loam", "clay loam", "silt loam")
DEPLETIONS = (0.48, 0.30, 0.42, 0.18)  # [-] true at the start, in turn: some are due at once

HEAD = """\
[garden]
id = "soak"
name = "Soaked plot"
latitude = 47.6
longitude = -122.3
elevation_m = 60
timezone = "America/Los_Angeles"
beds_at_once = 5
hours = "22:00-sunrise"
[broker]
url = "{url}"
[supply]
flow_l_min = 16.0
meter = "main"
[meters.main]
litres_per_pulse = 0.1
[weather.mast]
[valves.master]
role = "master"
"""
BED = """\
[beds.{bed}]
transplanted = 2026-05-09
plants = 24
spacing_m = 0.6
width_m = 1.2
soil = "{soil}"
mulch = "straw"
lines = 2
emitters = 72
emitter_l_h = 2.0
valve = "{bed}"
probes = [{probes}]
[valves.{bed}]
"""
PROBE = """\
[probes.{probe}]
kind = "{kind}"
depth_cm = {depth_cm}
every_s = {every_s}
"""


def garden_text(url: str, every_s: int = EVERY_S) -> str:
    """The garden file."""
    parts = [HEAD.format(url=url)]
    for n, bed in enumerate(BEDS):
        names = ", ".join(f'"{bed}-{place}"' for place in PLACES)
        parts.append(BED.format(bed=bed, soil=SOILS[n % len(SOILS)], probes=names))
    for probe in PROBES:
        kind = "theta_pct" if "-b" in probe else "theta_m3_m3"
        parts.append(
            PROBE.format(probe=probe, kind=kind, depth_cm=int(probe[-2:]), every_s=every_s)
        )
    return "".join(parts)


def depletions() -> dict[str, float]:
    """True depletion of each bed at the start [-]."""
    return {bed: DEPLETIONS[n % len(DEPLETIONS)] for n, bed in enumerate(BEDS)}


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that breaks.

    Attributes:
        which: as a fault script names it; `{bed}` stands for a bed, another one each time.
        what: how it breaks.
        lasts_s: garden time; 0 for what happens at a moment.
        value: where the way to break needs one.
    """

    which: str
    what: str
    lasts_s: float = 0.0
    value: float | None = None


TROUBLES = (
    Trouble("network", "down", 240.0),
    Trouble("probe:{bed}-a20", "silent", 1500.0),
    Trouble("valve:{bed}", "silent", 400.0),
    Trouble("supply", "lost", 500.0),
    Trouble("probe:{bed}-b20", "spike", 1500.0, 0.2),
    Trouble("valve:{bed}", "reboot"),
    Trouble("meter:main", "frozen", 500.0),
    Trouble("probe:{bed}-a40", "dry", 1500.0),
    Trouble("valve:{bed}", "deaf", 400.0),
    Trouble("meter:main", "silent", 400.0),
    Trouble("supply", "low", 500.0, 0.6),
    Trouble("power", "nodes_reboot"),
    Trouble("meter:main", "reset"),
    Trouble("probe:{bed}-b40", "stuck", 1500.0),
    Trouble("valve:{bed}", "stuck_closed", 500.0),
    Trouble("weather:mast", "silent", 1500.0),
    Trouble("supply", "leak", 300.0, 1.5),
    Trouble("network", "down", 90.0),
    Trouble("meter:main", "jump", value=60.0),
)


def fault_script(span_s: float, every_s: float, first_s: float) -> str:
    """A fault script of troubles that begin one after the other.

    Args:
        span_s: the last of them is over by then [s, garden time].
        every_s: from one to the next [s].
        first_s: when the first begins [s].
    """
    tables, at_s, n = [], first_s, 0
    while True:
        one = TROUBLES[n % len(TROUBLES)]
        if at_s + one.lasts_s > span_s:
            return "\n".join(tables)
        bed = BEDS[(7 * n) % len(BEDS)]
        lines = ["[[fault]]", f'at = "{at_s:.0f}s"', f'which = "{one.which.format(bed=bed)}"']
        lines.append(f'what = "{one.what}"')
        if one.lasts_s:
            lines.append(f'for = "{one.lasts_s:.0f}s"')
        if one.value is not None:
            lines.append(f"value = {one.value}")
        tables.append("\n".join([*lines, ""]))
        at_s, n = at_s + every_s, n + 1


def write_plot(folder: Path, url: str, every_s: int = EVERY_S) -> Path:
    """Write the garden file; its path."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "soak.toml"
    path.write_text(garden_text(url, every_s), encoding="utf-8")
    return path
