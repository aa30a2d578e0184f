"""What the broker hands over, sorted: topic to device, bytes to events, and what is left out.

Pure but for its own memory: the latest nonce of each valve, the last report of each valve (a node
that idles says the same every 20 s), a budget of messages for each topic, and counters. Retained
messages count only where the wire keeps them: on the outlook and on the controller's state; a
probe's goes on as history, marked as none of now.
"""

from __future__ import annotations

import logging
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from controller.errors import PayloadError
from controller.events import Event, ProbeReading, ValveReport
from controller.noisy import Noisy
from controller.sensing.payload import (
    ControllerState,
    decode_canary,
    decode_controller_state,
    decode_meter,
    decode_outlook,
    decode_pressure,
    decode_probe,
    decode_valve,
    decode_weather,
)

if TYPE_CHECKING:
    from controller.garden import Garden

CONTRACT = 1  # the node's side of the wire that we know
NONCE_LIFE_S = 45.0  # [s] the node's own rule; older ones it refuses
IDLE_REPEAT_S = 60.0  # [s] an idle valve that says the same again is not news within this
LOG_EVERY_S = 3600.0  # [s] one line for each source and hour
COST_S = 1.0  # [s] garden time that one message on a topic uses up; the fastest node tells every 5
SPARE_MOST_S = 200.0  # [s] saved up at most: so many may bunch after a stall; a design choice

RouteKind = Literal["probe", "meter", "weather", "state", "outlook", "canary", "controller_state"]
RETAINED_KINDS: frozenset[RouteKind] = frozenset({"outlook", "controller_state"})

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """What stands on a topic: `device` is empty for the garden's own topics."""

    kind: RouteKind
    device: str = ""

    @property
    def source(self) -> str:
        """Name for counters and the log."""
        return f"{self.kind}/{self.device}" if self.device else self.kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Canary:
    """A proof of life came back."""

    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkCounters:
    """What came in since this process began; `rejected` by source, `ignored` all the rest.

    `left` tells by topic how often it was not heard for a while.
    """

    readings: int
    rejected: dict[str, int]
    ignored: int
    left: dict[str, int]


Heard = Event | Canary | ControllerState


def routes_of(garden: Garden) -> dict[str, tuple[Route, ...]]:
    """List every topic that the controller hears; several probes may share one."""
    found: dict[str, tuple[Route, ...]] = {}

    def add(kind: RouteKind, device: str = "") -> None:
        topic = garden.topic(kind, device)
        found[topic] = (*found.get(topic, ()), Route(kind=kind, device=device))

    for probe in sorted(garden.probes):
        add("probe", probe)
    for meter in sorted(garden.meters):
        add("meter", meter)
    for mast in sorted(garden.weather):
        add("weather", mast)
    for valve in sorted(garden.valves):
        if not garden.valves[valve].plain_relay:
            add("state", valve)
    add("outlook")
    add("canary")
    add("controller_state")
    return found


class NonceBook:
    """The latest nonce of each valve: what makes a lease acceptable to its node."""

    def __init__(self) -> None:
        self._latest: dict[str, tuple[str, float]] = {}  # and when it arrived

    def keep(self, valve: str, nonce: str, *, mono_s: float) -> None:
        """Keep the nonce that arrived last."""
        self._latest[valve] = (nonce, mono_s)

    def burn(self, valve: str) -> None:
        """Forget it: the node does so at each close."""
        self._latest.pop(valve, None)

    def burn_all(self) -> None:
        """Forget all: the link was away."""
        self._latest.clear()

    def fresh(self, valve: str, *, mono_s: float) -> str | None:
        """Give the nonce of a valve if its node would still take it; None otherwise."""
        found = self._latest.get(valve)
        if found is not None and 0.0 <= mono_s - found[1] < NONCE_LIFE_S:
            return found[0]
        return None


@dataclass(slots=True, kw_only=True)
class _Budget:
    """What may still come on one topic: each message costs time, time saves up."""

    mono_s: float
    spare_s: float = SPARE_MOST_S

    def take(self, mono_s: float) -> bool:
        """Pay for one message if there is enough."""
        self.spare_s = min(SPARE_MOST_S, self.spare_s + max(0.0, mono_s - self.mono_s))
        self.mono_s = mono_s
        if self.spare_s >= COST_S:
            self.spare_s -= COST_S
            return True
        return False


class Inbox:
    """Turns messages into what they mean."""

    def __init__(self, garden: Garden) -> None:
        self._garden = garden
        self._routes = routes_of(garden)
        self._last: dict[str, ValveReport] = {}
        self._budgets: dict[str, _Budget] = {}
        self._rejected: Counter[str] = Counter()
        self._logged_mono_s: dict[str, float] = {}
        self._readings = 0
        self._ignored = 0
        self.nonces = NonceBook()
        self.noisy = Noisy()

    @property
    def counters(self) -> LinkCounters:
        """A snapshot of the counters."""
        return LinkCounters(
            readings=self._readings,
            rejected=dict(self._rejected),
            ignored=self._ignored,
            left=dict(self.noisy.times),
        )

    def subscriptions(self) -> list[tuple[str, bool]]:
        """List topics, each with whether its retained message is wanted."""
        return [(topic, self.keeps(topic)) for topic in self._routes]

    def forget(self, valve: str) -> None:
        """Let the next report of a valve through, whatever it says: somebody waits for it."""
        self._last.pop(valve, None)

    def forget_all(self) -> None:
        """Start anew after the link was away: only what arrives from now on counts."""
        self._last.clear()
        self.nonces.burn_all()
        self.noisy.forget_all()

    def hear(
        self, topic: str, payload: bytes, *, retained: bool, at_utc_s: float, mono_s: float
    ) -> list[Heard]:
        """Turn one message into events.

        Args:
            topic: as it arrived.
            payload: as it arrived.
            retained: whether the broker kept it from before.
            at_utc_s: arrival [s UTC].
            mono_s: arrival [s, monotonic].

        Returns:
            What it means; empty where it means nothing.
        """
        routes = self._routes.get(topic, ())
        if not routes or not self._within_budget(topic, mono_s):
            self._ignored += 1
            return []
        found: list[Heard] = []
        for route in routes:
            kept = retained and route.kind not in RETAINED_KINDS
            if kept and route.kind != "probe":
                self._ignored += 1
                continue
            try:
                heard: Heard | None
                if kept:  # history: named and counted by the engine, never used
                    heard = self._probe(route.device, payload, at_utc_s, mono_s, kept=True)
                else:
                    heard = self._decode(route, payload, at_utc_s=at_utc_s, mono_s=mono_s)
            except PayloadError as exc:
                self._reject(route.source, str(exc), mono_s)
                continue
            found += [heard] if heard is not None else []
            if route.kind == "meter":
                found += self._pressure(route, payload, at_utc_s=at_utc_s, mono_s=mono_s)
        return found

    def _pressure(
        self, route: Route, payload: bytes, *, at_utc_s: float, mono_s: float
    ) -> list[Heard]:
        """The pressure in a meter's message, where the garden file has one to hold it against."""
        supply = self._garden.supply
        if supply.pressure_kpa is None or supply.meter != route.device:
            return []
        try:
            told = decode_pressure(payload, route.device, at_utc_s=at_utc_s, mono_s=mono_s)
        except PayloadError as exc:
            self._reject(f"pressure/{route.device}", str(exc), mono_s)
            return []
        return [] if told is None else [told]

    def _decode(
        self, route: Route, payload: bytes, *, at_utc_s: float, mono_s: float
    ) -> Heard | None:
        match route.kind:
            case "canary":
                return Canary(number=decode_canary(payload))
            case "controller_state":
                return decode_controller_state(payload)
            case "state":
                return self._valve(payload, route.device, at_utc_s=at_utc_s, mono_s=mono_s)
            case _:
                reading = self._reading(route, payload, at_utc_s=at_utc_s, mono_s=mono_s)
        self._readings += 1
        return reading

    def _reading(self, route: Route, payload: bytes, *, at_utc_s: float, mono_s: float) -> Event:
        device = route.device
        match route.kind:
            case "probe":
                return self._probe(device, payload, at_utc_s, mono_s, kept=False)
            case "meter":
                return decode_meter(
                    payload,
                    device,
                    litres_per_pulse=self._garden.meters[device].litres_per_pulse,
                    at_utc_s=at_utc_s,
                    mono_s=mono_s,
                )
            case "weather":
                return decode_weather(payload, device, at_utc_s=at_utc_s, mono_s=mono_s)
            case _:
                return decode_outlook(payload, at_utc_s=at_utc_s, mono_s=mono_s)

    def _probe(
        self, device: str, payload: bytes, at_utc_s: float, mono_s: float, *, kept: bool
    ) -> ProbeReading:
        return decode_probe(
            payload,
            device,
            self._garden.probes[device],
            at_utc_s=at_utc_s,
            mono_s=mono_s,
            retained=kept,
        )

    def _valve(
        self, payload: bytes, valve: str, *, at_utc_s: float, mono_s: float
    ) -> ValveReport | None:
        report, nonce = decode_valve(payload, valve, at_utc_s=at_utc_s, mono_s=mono_s)
        if report.contract == CONTRACT:
            self.nonces.keep(valve, nonce, mono_s=mono_s)
        else:
            self.nonces.burn(valve)  # a node of another contract is never opened
        if self._nothing_new(report):
            return None
        self._last[valve] = report
        return report

    def _nothing_new(self, report: ValveReport) -> bool:
        last = self._last.get(report.valve)
        if last is None or report.open or report.mono_s - last.mono_s >= IDLE_REPEAT_S:
            return False
        same = replace(last, at_utc_s=report.at_utc_s, mono_s=report.mono_s, left_s=report.left_s)
        return same == report

    def _within_budget(self, topic: str, mono_s: float) -> bool:
        if topic == self._garden.topic("canary"):
            return True  # a flood there must not drown our own proof of life
        within = self._budgets.setdefault(topic, _Budget(mono_s=mono_s)).take(mono_s)
        (self.noisy.let_in if within else self.noisy.drop)(topic)
        return within

    def keeps(self, topic: str) -> bool:
        """Tell whether a topic's retained message is wanted."""
        return any(route.kind in RETAINED_KINDS for route in self._routes.get(topic, ()))

    def _reject(self, source: str, cause: str, mono_s: float) -> None:
        self._rejected[source] += 1
        logged = self._logged_mono_s.get(source)
        if logged is None or mono_s - logged >= LOG_EVERY_S:
            self._logged_mono_s[source] = mono_s
            _log.warning("%s: a message was refused: %s", source, cause)
