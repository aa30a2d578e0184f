"""What speaks on a broker, named from its messages: probes, valves, meter, mast. Pure.

What a number means is taken from its name, or from its size where that can only be one thing. From
1 to 100 per cent and kPa look alike, and one is dry where the other is wet: that is left to people.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from controller.errors import PayloadError
from controller.sensing.strict_json import parse_json

USUAL = re.compile(
    r"thirstline/(?P<garden>[^/]+)/"
    r"(?:(?P<kind>probe|meter|weather)/(?P<device>[^/]+)|valve/(?P<valve>[^/]+)/state)"
)
WORDS: Mapping[str, str] = MappingProxyType(
    {
        "raw": "raw",
        "counts": "raw",
        "adc": "raw",
        "theta": "",
        "vwc": "",
        "moisture": "",
        "water_content": "",
        "theta_m3_m3": "theta_m3_m3",
        "theta_pct": "theta_pct",
        "pct": "theta_pct",
        "percent": "theta_pct",
        "kpa": "tension_kpa",
        "tension_kpa": "tension_kpa",
        "kohm": "resistance_kohm",
        "resistance_kohm": "resistance_kohm",
    }
)
SENML_KINDS: Mapping[str, str] = MappingProxyType(
    {
        "m3/m3": "theta_m3_m3",
        "/100": "theta_pct",
        "kPa": "tension_kpa",
        "hPa": "tension_kpa",
        "Pa": "tension_kpa",
        "kOhm": "resistance_kohm",
        "Ohm": "resistance_kohm",
    }
)
DEEP, SHALLOW = ("deep", "lower", "bottom"), ("shallow", "upper", "top")
DEEP_CM, SHALLOW_CM = 40.0, 20.0  # [cm] among the roots and near their bottom, as in the example
THETA_MOST = 0.7  # [m3/m3] no mineral soil holds more
ALIKE_MOST = 100.0  # per cent and kPa end here; above it only counts are left
MOST_PROBES = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardProbe:
    """A number that may be soil moisture; `kind` is empty where it cannot be told."""

    name: str
    topic: str
    field: str | None
    senml: str | None
    kind: str
    depth_cm: float
    said: str


@dataclass(slots=True)
class Heard:
    """Everything that spoke, by name; the value is the topic."""

    garden: str = ""
    probes: dict[str, HeardProbe] = field(default_factory=dict)
    valves: dict[str, str] = field(default_factory=dict)
    meters: dict[str, str] = field(default_factory=dict)
    masts: dict[str, str] = field(default_factory=dict)

    def beds(self) -> list[str]:
        """The valves that are likely to be a bed's, in the order of their names."""
        return sorted(name for name in self.valves if name not in {"master", "pump"})

    def probes_of(self, bed: str) -> list[str]:
        """The probes whose name or topic speaks of a bed."""
        own = re.compile(rf"(?:^|[/_-]){re.escape(bed)}(?:[/_-]|$)", re.IGNORECASE)
        return [
            name
            for name, probe in self.probes.items()
            if own.search(name) or own.search(probe.topic)
        ]


def hear(messages: Iterable[tuple[str, bytes]]) -> Heard:
    """Name what spoke.

    Args:
        messages: topic and payload of each, in the order of arrival.
    """
    heard = Heard()
    gardens: dict[str, int] = {}
    for topic, payload in messages:
        usual = USUAL.fullmatch(topic)
        if usual is not None:
            gardens[usual["garden"]] = gardens.get(usual["garden"], 0) + 1
        _take(heard, topic, payload, usual)
    heard.garden = max(gardens, key=lambda one: gardens[one], default="")
    heard.probes = dict(sorted(heard.probes.items()))
    heard.valves = dict(sorted(heard.valves.items()))
    heard.meters = dict(sorted(heard.meters.items()))
    heard.masts = dict(sorted(heard.masts.items()))
    return heard


def _take(heard: Heard, topic: str, payload: bytes, usual: re.Match[str] | None) -> None:
    try:
        document = parse_json(payload)
    except PayloadError:
        return
    keys = set(document) if isinstance(document, dict) else set()
    device = topic.rpartition("/")[2]
    if {"open", "nonce"} <= keys:
        heard.valves.setdefault(_slug(usual["valve"] if usual else topic.split("/")[-2:][0]), topic)
    elif keys & {"litres_total", "pulses_total"}:
        heard.meters.setdefault(_slug(device), topic)
    elif "temp_c" in keys or "rain_mm_total" in keys:
        heard.masts.setdefault(_slug(device), topic)
    elif usual is None or usual["kind"] == "probe":
        for probe in _probes(topic, document):
            if len(heard.probes) < MOST_PROBES:
                heard.probes.setdefault(probe.name, probe)


def _probes(topic: str, document: Any) -> Iterator[HeardProbe]:  # noqa: ANN401 - of any JSON
    parts = topic.split("/")
    base = parts[-1] if len(parts) > 1 and parts[-2] == "probe" else "-".join(parts[-2:])
    if isinstance(document, (int, float)) and not isinstance(document, bool):
        yield _probe(base, topic, None, None, _by_size(document), document)
    elif isinstance(document, dict):
        for path, value in _leaves(document, ""):
            steps = path.strip("/").split("/")
            kind = WORDS.get(steps[-1].lower())
            if kind is not None:
                name = "-".join([base, *steps[:-1]])
                yield _probe(name, topic, path, None, kind or _by_size(value), value)
    elif isinstance(document, list):
        for record in document:
            if isinstance(record, dict) and record.get("u") in SENML_KINDS:
                told, content = record.get("n"), record.get("v")
                if isinstance(told, str) and isinstance(content, (int, float)):
                    kind = SENML_KINDS[record["u"]]
                    yield _probe(f"{base}-{told}", topic, None, told, kind, content)


def _leaves(table: dict[str, Any], path: str) -> Iterator[tuple[str, float]]:
    for key, value in table.items():
        here = f"{path}/{key.replace('~', '~0').replace('/', '~1')}"
        if isinstance(value, dict):
            yield from _leaves(value, here)
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            yield here, value


def _by_size(value: float) -> str:
    if 0.0 < value <= THETA_MOST:
        return "theta_m3_m3"
    return "raw" if value > ALIKE_MOST else ""


def _probe(
    name: str, topic: str, pointer: str | None, senml: str | None, kind: str, value: float
) -> HeardProbe:
    slug = _slug(name)
    return HeardProbe(
        name=slug,
        topic=topic,
        field=pointer,
        senml=senml,
        kind=kind,
        depth_cm=depth_cm(slug),
        said=f"{value:g}",
    )


def depth_cm(name: str) -> float:
    """Guess from its name how deep a probe sits [cm]."""
    number = re.search(r"(?:^|[^0-9])([0-9]{1,3})(?:cm)?$", name)
    if number is not None and 1 <= int(number[1]) <= 200:
        return float(number[1])
    return DEEP_CM if any(word in name.lower() for word in DEEP) else SHALLOW_CM


def _slug(text: str) -> str:
    """A name that may stand in the garden file and in topics."""
    return re.sub(r"[^A-Za-z0-9_]+", "-", text).strip("-_")[:40] or "unnamed"
