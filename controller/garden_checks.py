"""The garden file as a whole, and what must fit between its tables.

Each check yields places and predicates, so that all faults are told at once.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise
from typing import Annotated, Literal

from controller.agronomy.crop import load_crops
from controller.garden_file import Place
from controller.garden_parts import (
    SMALLEST_AVAILABLE_M3_M3,
    Bed,
    Limits,
    Meter,
    Normals,
    Probe,
    Supply,
    Valve,
    Weather,
)
from controller.garden_rules import BedName, DeviceId, Part, Table, listed, shown
from controller.garden_ways import Alarm, Broker, GardenInfo, Page, Topics, is_loopback

SUPPLY_SHARE_FRAC = 0.9  # [-] of the supply flow that open beds may take together
ROOT = "thirstline"

TopicKind = Literal[
    "probe",
    "meter",
    "weather",
    "outlook",
    "lease",
    "close",
    "state",
    "canary",
    "controller_state",
    "alert",
]
Fault = tuple[Place, str]


class Declared(Part):
    """What the garden file says, table by table; the mappings keep the file's order."""

    garden: GardenInfo
    broker: Broker = Broker()
    page: Page = Page()
    supply: Supply
    topics: Topics = Topics()
    beds: Annotated[Mapping[Annotated[str, BedName()], Bed], Table(1, 32, "beds")]
    probes: Annotated[Mapping[DeviceId, Probe], Table(0, 128, "probes")] = {}
    valves: Annotated[Mapping[DeviceId, Valve], Table(1, 40, "valves")]
    meters: Annotated[Mapping[DeviceId, Meter], Table(0, 8, "meters")] = {}
    weather: Annotated[Mapping[DeviceId, Weather], Table(0, 4, "weather")] = {}
    normals: Normals = Normals()
    limits: Limits = Limits()
    alarm: Alarm = Alarm()

    def topic(self, kind: TopicKind, device: str = "") -> str:
        """Name the topic of a device, or of the garden itself where `device` is empty.

        Args:
            kind: `probe`, `meter`, `weather` with a device; `lease`, `close`, `state` with a
                valve; `outlook`, `canary`, `controller_state`, `alert` without.
            device: id of the probe, meter, mast or valve.

        Raises:
            KeyError: the garden has no such device.
        """
        match kind:
            case "probe":
                told = self.probes[device].topic
            case "meter":
                told = self.meters[device].topic
            case "weather":
                told = self.weather[device].topic
            case "lease" | "close" | "state":
                told = getattr(self.valves[device].topics, kind)
            case _:
                told = getattr(self.topics, kind)
        return told or f"{ROOT}/{self.garden.id}/{_usual(kind, device)}"


def _usual(kind: TopicKind, device: str) -> str:
    match kind:
        case "probe" | "meter" | "weather":
            return f"{kind}/{device}"
        case "lease" | "close" | "state":
            return f"valve/{device}/{kind}"
        case "canary":
            return "controller/canary"
        case "controller_state":
            return "controller/state"
        case _:
            return kind


def cross_faults(garden: Declared) -> list[Fault]:
    """Find what does not fit between the tables of a file whose tables are each sound."""
    checks = (
        *(_bed_faults(garden, name, bed) for name, bed in garden.beds.items()),
        *(_probe_faults(name, probe) for name, probe in garden.probes.items()),
        _shared_valves(garden),
        _shared_probes(garden),
        _valve_faults(garden),
        _meter_faults(garden),
        _topic_faults(garden),
        _mail_faults(garden),
    )
    return [found for check in checks for found in check]


def unlived(garden: Declared) -> list[Fault]:
    """Find beds that are cleared on the day they are planted, so that they are never watered.

    A garden file is refused for it; gardens in records of before this rule are not.
    """
    return [
        (
            ("beds", name, "cleared"),
            f"{bed.cleared} is the day of the transplanting; allowed is a later day",
        )
        for name, bed in garden.beds.items()
        if bed.cleared == bed.transplanted
    ]


def _absent(name: str, known: Iterable[str], what: str) -> str:
    """Say that a name stands for nothing, with the nearest that does."""
    names = list(known)
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
    hint = f"the nearest is {shown(near[0])}" if near else f"known are {listed(names[:12])}"
    return f"{shown(name)} is none of the {what}; {hint}"


def _bed_faults(garden: Declared, name: str, bed: Bed) -> Iterator[Fault]:
    here = ("beds", name)
    yield from (((*here, key), said) for key, said in _soil_faults(bed))
    for crop in bed.crop:
        if crop not in load_crops():
            yield (*here, "crop"), _absent(crop, load_crops(), "crops known here")
    if bed.cleared is not None and bed.cleared < bed.transplanted:
        said = f"{bed.cleared} is before the transplanting on {bed.transplanted}"
        yield (*here, "cleared"), said
    if bed.wetted_width_m > bed.width_m:
        said = f"{bed.wetted_width_m:g} is outside 0.1 to {bed.width_m:g} m, the bed's width_m"
        yield (*here, "wetted_width_m"), said
    most = SUPPLY_SHARE_FRAC * garden.supply.flow_l_min
    if not bed.flow_l_min <= most:
        said = f"{bed.emitters} x {bed.emitter_l_h:g} L/h is {bed.flow_l_min:.1f} L/min"
        limit = f"allowed is 0 to {most:.1f} L/min, 0.9 of supply.flow_l_min"
        yield (*here, "emitters"), f"{said}; {limit}"
    valve = garden.valves.get(bed.valve)
    if valve is None:
        yield (*here, "valve"), _absent(bed.valve, garden.valves, "valves")
    elif valve.role != "bed":
        yield (*here, "valve"), f"{shown(bed.valve)} is the {valve.role}; a bed's valve is needed"
    for probe in bed.probes:
        if probe not in garden.probes:
            yield (*here, "probes"), _absent(probe, garden.probes, "probes")
    yield from _like_faults(garden, name, bed)


def _soil_faults(bed: Bed) -> Iterator[tuple[str, str]]:
    full, dry = bed.field_capacity_m3_m3, bed.wilting_point_m3_m3
    both = "field_capacity_m3_m3 and wilting_point_m3_m3"
    if bed.soil is None and full is None and dry is None:
        yield "soil", f"is missing; needed is a soil class, or {both}"
    elif bed.soil is not None and not full is dry is None:
        yield "soil", f"{shown(bed.soil)} stands beside {both}; allowed is the one or the others"
    elif bed.soil is None and dry is None:
        yield "wilting_point_m3_m3", "is missing; field_capacity_m3_m3 stands alone"
    elif bed.soil is None and full is None:
        yield "field_capacity_m3_m3", "is missing; wilting_point_m3_m3 stands alone"
    elif full is not None and dry is not None and not full - dry >= SMALLEST_AVAILABLE_M3_M3:
        highest = f"{full - SMALLEST_AVAILABLE_M3_M3:.3g} m3/m3"
        said = f"{dry:g} is outside 0.005 to {highest}, 0.02 below field_capacity_m3_m3"
        yield "wilting_point_m3_m3", said


def _like_faults(garden: Declared, name: str, bed: Bed) -> Iterator[Fault]:
    here = ("beds", name, "like")
    if bed.like is None:
        return
    other = garden.beds.get(bed.like)
    if bed.probes:
        yield here, f"{shown(bed.like)} stands beside probes; allowed is the one or the other"
    if bed.like == name:
        yield here, f"{shown(bed.like)} is this bed itself; another bed is needed"
    elif other is None:
        yield here, _absent(bed.like, garden.beds, "beds")
    elif not other.probes:
        yield here, f"{shown(bed.like)} has no probes to follow; a bed with probes is needed"


def _probe_faults(name: str, probe: Probe) -> Iterator[Fault]:
    here = ("probes", name)
    if probe.field is not None and probe.senml is not None:
        yield (*here, "senml"), f"{shown(probe.senml)} stands beside field; allowed is one of them"
    if probe.calibration is None:
        return
    if probe.kind != "raw":
        said = f"does not belong to kind {shown(probe.kind)}; allowed is kind 'raw'"
        yield (*here, "calibration"), said
    points = sorted(probe.calibration)
    steps = [(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(points)]
    if not (all(x > 0 for x, _ in steps) and len({y > 0 for _, y in steps if y != 0}) == 1):
        said = "the points do not rise or fall all the way; each raw value once, in one sense"
        yield (*here, "calibration"), said
    elif any(y == 0 for _, y in steps):
        said = "two points have the same water content; allowed are points that differ"
        yield (*here, "calibration"), said


def _shared_valves(garden: Declared) -> Iterator[Fault]:
    owner: dict[str, str] = {}
    for name, bed in garden.beds.items():
        first = owner.setdefault(bed.valve, name)
        if first != name:
            said = f"{shown(bed.valve)} waters bed {shown(first)} too; each bed needs its own valve"
            yield ("beds", name, "valve"), said


def _shared_probes(garden: Declared) -> Iterator[Fault]:
    owner: dict[str, str] = {}
    for name, bed in garden.beds.items():
        for probe in bed.probes:
            if probe in owner:
                said = f"{shown(probe)} is listed in bed {shown(owner[probe])} already"
                yield ("beds", name, "probes"), f"{said}; a probe belongs once to one bed"
            owner.setdefault(probe, name)


def _valve_faults(garden: Declared) -> Iterator[Fault]:
    leased = [v for v in garden.valves.values() if v.role != "bed" and not v.plain_relay]
    seen: dict[str, str] = {}
    for name, valve in garden.valves.items():
        here = ("valves", name)
        if valve.role != "bed":
            first = seen.setdefault(valve.role, name)
            if first != name:
                said = f"{shown(valve.role)} is {shown(first)} already; allowed is one"
                yield (*here, "role"), said
        if valve.evidence is not None and valve.say is None:
            yield (*here, "evidence"), "stands without say; only a plain relay needs it"
        if valve.plain_relay and not leased:
            said = (
                "is a plain relay that nothing bounds; a master valve or pump with leases is needed"
            )
            yield (*here, "say"), said
        if valve.plain_relay and valve.topics != type(valve.topics)():
            yield (*here, "topics"), "stands beside say; a plain relay has only its own topics"


def _meter_faults(garden: Declared) -> Iterator[Fault]:
    meter = garden.supply.meter
    if meter is not None and meter not in garden.meters:
        yield ("supply", "meter"), _absent(meter, garden.meters, "meters")


def _topic_faults(garden: Declared) -> Iterator[Fault]:
    owner: dict[tuple[str, str | None], Place] = {}
    plain: dict[str, Place] = {}
    for place, topic, part in _claims(garden):
        first = owner.setdefault((topic, part), place)
        # Several probes may share a node's message, each with a field of its own; nothing else may.
        whole = plain.setdefault(topic, place) if part is None else plain.get(topic, place)
        other = first if first != place else whole
        if other != place:
            said = f"the topic {shown(topic)} is that of {'.'.join(map(str, other))} already"
            yield place, f"{said}; allowed is one use of a topic, or a field for each probe"


def _claims(garden: Declared) -> Iterator[tuple[Place, str, str | None]]:
    """Name every topic in use: where it is set, the topic, the part of its message."""
    for kind in ("outlook", "canary", "controller_state", "alert"):
        yield ("topics", kind), garden.topic(kind), None
    for name, valve in garden.valves.items():
        here = ("valves", name)
        if valve.say is not None:
            yield (*here, "say"), valve.say.topic, None
            if valve.evidence is not None:
                yield (*here, "evidence"), valve.evidence.topic, None
            continue
        for step in ("lease", "close", "state"):
            yield (*here, "topics", step), garden.topic(step, name), None
    for name in garden.meters:
        yield ("meters", name, "topic"), garden.topic("meter", name), None
    for name in garden.weather:
        yield ("weather", name, "topic"), garden.topic("weather", name), None
    for name, probe in garden.probes.items():
        yield ("probes", name, "topic"), garden.topic("probe", name), probe.field or probe.senml


def _mail_faults(garden: Declared) -> Iterator[Fault]:
    """A password never crosses a network in the clear, and belongs to somebody."""
    here, mail = ("alarm", "mail"), garden.alarm.mail
    if mail is None:
        return
    if mail.security == "none" and not is_loopback(mail.host.strip("[]")):
        yield (
            (*here, "tls"),
            f"'none' with {shown(mail.host)}: plain text is allowed to this machine only; "
            "allowed is 'starttls' or 'tls'",
        )
    if mail.user is not None and mail.password_file is None:
        yield (*here, "user"), "has no password_file beside it"
    if mail.password_file is not None and mail.user is None:
        yield (*here, "password_file"), "has no user beside it"
