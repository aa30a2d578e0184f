"""Engines and nodes with one guard broken each: the scripts have to find every one of them.

A mutant replaces attributes of our own modules while scripts are played; `themes` says in which
scripts it is looked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

from controller import bed_views, engine, inputs, judge, orders, probe_readings
from controller.effects import Close, Settle
from controller.engine import Engine
from controller.events import ProbeReading
from controller.minding import mind_thirst
from controller.run import Run
from controller.sensing import quality
from controller.watering import guard, hand_guard, leasing, limits, settling, valves
from controller.watering.decision import Reason, Rules
from controller.watering.hours import Window
from controller.watering.limits import Refused
from sim import nodes
from sim.nodes import ValveNode
from tests.scripts import water
from tests.scripts.draw import THEMES, draw
from tests.scripts.play import Broke, play

Change = tuple[Any, str, Any]
MOST = 60  # scripts that a mutant may survive


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One broken guard.

    Attributes:
        name: what is broken.
        breaks: invariants of which at least one has to be found broken.
        themes: of the scripts that look for it; empty for all.
        changes: attributes and what they become.
    """

    name: str
    breaks: tuple[str, ...]
    themes: tuple[str, ...] = ()
    changes: Callable[[], list[Change]]


@contextmanager
def broken(mutant: Mutant) -> Iterator[None]:
    """While this lasts the guard is broken."""
    changes = mutant.changes()
    kept = [(of[name] if isinstance(of, dict) else of.__dict__[name]) for of, name, _ in changes]
    _set(changes)
    try:
        yield
    finally:
        _set([(of, name, was) for (of, name, _), was in zip(changes, kept, strict=True)])


def _set(changes: list[Change]) -> None:
    for of, name, value in changes:
        if isinstance(of, dict):
            of[name] = value
        else:
            setattr(of, name, value)


def seeds_of(mutant: Mutant) -> Iterator[int]:
    """Seeds of its themes, in order."""
    seed, names = 0, {theme[0] for theme in THEMES}
    assert set(mutant.themes) <= names, f"{mutant.name}: {set(mutant.themes) - names}"
    while True:
        if not mutant.themes or THEMES[seed % len(THEMES)][0] in mutant.themes:
            yield seed
        seed += 1


def find(mutant: Mutant, most: int = MOST) -> tuple[int, Broke] | None:
    """After how many scripts a mutant is found, and by what; None where it survives."""
    with broken(mutant):
        for number, seed in enumerate(seeds_of(mutant), 1):
            found = play(draw(seed))
            if found is not None and found.code in mutant.breaks:
                return number, found
            if number >= most:
                return None
    return None


# -- what is broken


def _never(*_: Any, **__: Any) -> bool:
    return False


def _nothing(*_: Any, **__: Any) -> None:
    return None


def _calls_alone(run: Run, bed: str, window: Window) -> None:
    """The real call of a dry bed, only where nothing else is called."""
    if not run.state.alerts:
        mind_thirst(run, bed, window)


def _without(real: Callable[..., Any], code: Refused) -> Callable[..., Any]:
    """An interlock that overlooks one of its reasons."""

    def interlock(*args: Any) -> Any:
        found = real(*args)
        return None if found is code else found

    return interlock


def _overlook(code: Refused) -> list[Change]:
    loose = _without(guard.interlock, code)
    return [(of, "interlock", loose) for of in (guard, valves, judge, bed_views)]


def _by_wall_clock() -> list[Change]:
    return [(Run, "trusted_s", property(lambda run: run.state.at_utc_s))]


def _silent_close(run: Run, valve: str, dose: str = "") -> None:
    held = run.state.valves[valve]
    del dose
    if held.state != "closed":
        held.state = "told_to_close"


def _trusting_close(run: Run, valve: str, dose: str = "") -> None:
    run.out.append(Close(valve=valve, dose=dose))
    run.state.valves[valve].state = "closed"


_STARTED = Engine.__dict__["_started"]
_READY = Engine.__dict__["_end_quiet_start"]
_RESERVE = valves._reserve
_ACCEPTABLE = ValveNode.__dict__["_acceptable"]
_CHARGE = settling._confirmed_charge_l
_CAPS = guard.caps_of


def _forgets_latches(self: Engine, event: Any) -> None:
    _STARTED(self, event)
    self.state.alerts.clear()


def _forgets_ledger(self: Engine, event: Any) -> None:
    _STARTED(self, event)
    self.state.ledger.clear()


def _same_epoch(self: Engine) -> None:
    self.state.stored_epoch -= 1
    self.state.heard_epoch -= 1
    _READY(self)
    self.state.stored_epoch += 1


def _unwritten(run: Run, watering: Any, reserved_l: float) -> None:
    _RESERVE(run, watering, reserved_l)
    watering.pulse.phase = "master"


def _any_nonce(self: ValveNode, open_s: int, order: tuple[int, int], _: str, now_s: float) -> bool:
    return 1 <= open_s <= nodes.LEASE_MOST_S and order > self._order and self._below_ceiling(now_s)


def _any_order(self: ValveNode, open_s: int, order: tuple[int, int], n: str, now_s: float) -> bool:
    del order
    return bool(_ACCEPTABLE(self, open_s, (10**9, 10**9), n, now_s))


def _hand_passes(run: Run, watering: Any) -> Refused | None:
    if watering.by.startswith("hand:"):
        want_l = limits.reserve_l(watering.pulse_l, run.garden.beds[watering.bed].flow_l_min)
        valves._reserve(run, watering, want_l)
        return None
    return _BEGIN(run, watering)


_BEGIN = valves.begin_pulse
_SETTLE = settling.settle


def _half_the_time(run: Run, watering: Any, pulse: Any, outcome: Any) -> None:
    _SETTLE(run, watering, pulse, outcome)
    run.out[:] = [
        replace(one, open_s=0.5 * one.open_s) if isinstance(one, Settle) else one for one in run.out
    ]


def _stumbles(run: Run, event: ProbeReading) -> None:
    if event.value > 1e100:
        raise OverflowError(event.value)
    probe_readings.probe_reading(run, event)


def _no_cap_of_a_dose(run: Run, bed: str) -> Any:
    return replace(_CAPS(run, bed), dose_l=1e9)


def _no_cap_of_the_site(run: Run, bed: str) -> Any:
    return replace(_CAPS(run, bed), site_l_day=1e9)


def _restless(run: Run, bed: str, window: Any) -> Rules:
    rules = bed_views.rules_of(run, bed, window)
    return replace(rules, hold=None) if rules.hold is Reason.PAUSED else rules


def _one(of: Any, name: str, value: Any) -> Callable[[], list[Change]]:
    return lambda: [(of, name, value)]


def _m(
    name: str,
    breaks: str,
    changes: Callable[[], list[Change]],
    *themes: str,
) -> Mutant:
    return Mutant(name=name, breaks=tuple(breaks.split()), themes=themes, changes=changes)


def _stop_some(run: Run, order: Any) -> None:
    for bed in list(run.state.waterings):
        settling.cut(run, bed, "stopped")
    orders._answer(run, order, "accepted", "stopped", "Told to close.")


MUTANTS: tuple[Mutant, ...] = (
    _m("the day's caps are ignored", "I3", _one(limits, "used_l", lambda *_: 0.0), "greed"),
    _m("a litre leaves the budget after twelve hours", "I3", _one(limits, "DAY_S", 43_200.0)),
    _m("the budget ages by the wall clock", "I3", _by_wall_clock),
    _m("one watering may give any amount", "I3", lambda: [
        (of, "caps_of", _no_cap_of_a_dose) for of in (guard, orders)], "greed"),
    _m("all beds together may drink any amount", "I3", lambda: [
        (of, "caps_of", _no_cap_of_the_site) for of in (guard, orders)], "greed"),
    _m("a reservation holds only what is wanted", "I3", lambda: [
        (limits, "RESERVE_FACTOR", 1.0), (limits, "RESERVE_EXTRA_S", 0.0)]),
    _m("half is charged", "I3", _one(
        settling, "_confirmed_charge_l", lambda *args: 0.5 * _CHARGE(*args))),
    _m("half of the open seconds are logged", "I8", lambda: [
        (of, "settle", _half_the_time) for of in (settling, valves)]),
    _m("charges that are no number", "I16", _one(
        settling, "_confirmed_charge_l", lambda *_: float("nan"))),
    _m("a start forgets the ledger", "I3", _one(Engine, "_started", _forgets_ledger)),
    _m("lost history costs nothing", "I3", _one(inputs, "lost_history", _nothing), "forgotten"),
    _m("a person passes the guard", "I3 I5 I6 I9 I18 I21 V10", lambda: [
        (of, "begin_pulse", _hand_passes) for of in (orders, valves)]),
    _m("leases of ten minutes, and nodes that take them", "I1 I7", lambda: [
        (leasing, "LEASE_S", 600), (nodes, "LEASE_MOST_S", 600)]),
    _m("no ceiling in controller and node", "I2", lambda: [
        (leasing, "OPEN_MOST_S", 1e9), (nodes, "CEILING_S", 1e9), (water, "CEILING_S", 1e9)],
        "greed"),
    _m("the master may stay open", "I2", _one(leasing, "OPEN_MOST_S", 1e9), "greed"),
    _m("no bed counts as open", "I5 I9", lambda: [
        (guard, "busy_beds", lambda _: []), (hand_guard, "busy_beds", lambda _: [])]),
    _m("what may still flow counts as closed", "I5 I9 I3 V10",
       _one(guard, "may_flow", _never), "hands"),
    _m("the supply feeds any number", "I9", _one(limits, "SUPPLY_SHARE", 9.0), "greed", "nights"),
    _m("no rest between openings", "V10", _one(limits, "OFF_LEAST_S", 0.0)),
    _m("any number of starts", "V10", _one(limits, "STARTS_MOST", 999), "nagging"),
    _m("valve edges at once", "E4", lambda: [
        (leasing, "EDGE_GAP_S", 0.0), (leasing, "edge_free", lambda _: True),
        (valves, "edge_free", lambda _: True)]),
    _m("a close is never sent", "I19 I21", _one(Run, "close", _silent_close)),
    _m("a stop closes only what drinks", "I19", _one(
        orders, "DOES", {**orders.DOES, "stop": _stop_some, "stop_all": _stop_some})),
    _m("told to close counts as closed", "I24", _one(Run, "close", _trusting_close)),
    _m("an early word counts as closed", "I24 I6", _one(
        inputs, "_stays_closed", lambda *_: True)),
    _m("a refusal is not answered", "I24", _one(orders, "_refuse", _nothing)),
    _m("a nonce is not looked at", "I10 I1", _one(ValveNode, "_acceptable", _any_nonce)),
    _m("a nonce lives for ten minutes", "I10 I1", _one(nodes, "NONCE_LIFE_S", 600.0)),
    _m("a node takes a lease twice", "I14", _one(ValveNode, "_acceptable", _any_order)),
    _m("a start opens at once", "I21", _one(engine, "QUIET_S", 0.0)),
    _m("an epoch comes twice", "I12", _one(Engine, "_end_quiet_start", _same_epoch)),
    _m("another controller is ignored", "I12", _one(inputs, "_foreign", _nothing)),
    _m("the record is not waited for", "I7", _one(valves, "_reserve", _unwritten)),
    _m("latches hold nothing shut", "I18", _one(guard, "latched", _never)),
    _m("a start forgets latches", "I18", _one(Engine, "_started", _forgets_latches)),
    _m("people at the pipes are overlooked", "I6", lambda: _overlook(Refused.LOCKED), "thirst"),
    _m("a pause is overlooked", "I6", _one(judge, "rules_of", _restless), "thirst"),
    _m("a frost is overlooked", "I6", lambda: _overlook(Refused.FROST), "cold"),
    _m("a valve that was not walked opens", "I6", lambda: _overlook(Refused.NOT_ARMED), "walked"),
    _m("a kept or future reading is believed", "I11", _one(
        quality, "order_fault", _nothing), "talk"),
    _m("a silent probe counts as heard", "I11", _one(bed_views, "usable", lambda *_: True)),
    _m("a bed past its floor is never called", "I23", _one(judge, "mind_thirst", _nothing)),
    _m("a bed past its floor is not called while another alert stands", "I23", _one(
        judge, "mind_thirst", _calls_alone)),
    _m("the ledger is never thinned", "I17", _one(valves, "counts", lambda *_: True)),
    _m("a large number makes it stumble", "I15", _one(
        engine.READINGS, ProbeReading, _stumbles), "talk"),
)  # fmt: skip
