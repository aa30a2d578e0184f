"""The invariants I1 to I24 of one life, held at every instant at which something can break one.

The oracle keeps books of its own: leases sent, nonces told, openings, reservations, latches. It
looks into the engine only for what it holds against them. What it leaves out and who holds that
instead: `INVARIANTS`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, is_dataclass
from typing import TYPE_CHECKING, Any

from controller.effects import (
    Alert,
    Alerts,
    Answer,
    Close,
    Effect,
    Lease,
    Note,
    Outcome,
    Ready,
    Reserve,
    Settle,
)
from controller.events import (
    Event,
    ForeignController,
    Order,
    OrderKind,
    ProbeReading,
    Started,
    WeatherReading,
)
from controller.proving.arming import armed
from controller.watering.decision import INTERLOCKS, YES
from controller.watering.guard import LATCHING
from controller.watering.limits import Refused, counts, used_l
from sim.faults import Breakage
from sim.nodes import CEILING_S, LEASE_MOST_S, NONCE_LIFE_S, REST_S
from tests.scripts.gardens import CAPS

if TYPE_CHECKING:
    from tests.scripts.life import Life
    from tests.scripts.record import Row

DAY_S = 86_400.0
REFUSED = frozenset(str(one) for one in Refused)
LEASE_S = 90.0
QUIET_S = 140.0
OFF_LEAST_S = 600.0
EDGE_GAP_S = 5.0
STARTS_MOST = 12
CONTROLLER_MOST_S = 5400.0
SUPPLY_SHARE = 0.9
FROST_C = 2.0
TINY = 1e-6
LEDGER_MOST = 24  # twelve starts and what proofs and walks add
STATE_BYTES_MOST = 120_000
CLOSING_ORDERS = {OrderKind.STOP, OrderKind.STOP_ALL, OrderKind.LOCK}
BLIND_YES = {"blind_refill", "blind_normals", "blind_smallest", "limp"}
READING_OLD_S = 1800.0 + 600.0
DRY_MOST_S = 7.5 * 3600.0  # six, an hour between judgements, and the grid
DRY_UNSURE_S = DRY_MOST_S + 18 * 3600.0  # while it is not sure that it is: a day, not six hours
DRY_TRULY_S = 30 * 3600.0  # where probes tell it soundly: they may be doubted for a day
HOURS_MOST_S = {"always": 24 * 3600.0, "22:00-sunrise": 9.5 * 3600.0}  # so long a bed's hours are
NOT_GROWING = {"not_planted", "cleared"}
TO_DRINK = {code.value for code in YES} - {"night_early", "ordered"}
STILL_TO_DRINK = {code.value for code in INTERLOCKS} | {
    "cap_spent", "night_over", "night_short", "outside_hours", "supply_lost", "unknown_state",
    "waiting_readings",
}  # fmt: skip
HINDERS_ALL = {  # alerts of the whole garden in which a dry bed's own is not asked for
    "burst", "cannot_record", "crash_loop", "flow_asked", "frost", "history_lost", "leak",
    "link_lost", "master_failed", "meter_fault", "not_armed", "other_controller", "paused",
    "pressure_high", "supply_lost",
}  # fmt: skip
LOOK_S, SIP_L = 600.0, 1.0  # between two looks at thirst; less than that is no watering

INVARIANTS: dict[str, str] = {
    "I1": "scripts", "I2": "scripts", "I3": "scripts", "I4": "scripts", "I5": "scripts",
    "I6": "scripts", "I7": "scripts", "I8": "scripts", "I9": "scripts", "I10": "scripts",
    "I11": "scripts", "I12": "scripts", "I13": "scripts", "I14": "scripts", "I15": "scripts",
    "I16": "scripts", "I17": "scripts", "I18": "scripts", "I19": "scripts", "I20": "scripts",
    "I21": "scripts", "I22": "tests/property/test_policy_metamorphic.py", "I23": "scripts",
    "I24": "scripts",
}  # fmt: skip

# Invariants that are told under another's name, since the same check holds them.
AS = {
    "I4": "I3: what the ledger lets go is held against true litres of 24 h of true time",
    "I13": "I3, I21, V10: wall clocks are thrown about in the scripts, true time judges",
    "I20": "I7: a lease whose reservation is not on disk",
}


class BrokenError(AssertionError):
    """An invariant does not hold."""


@dataclass(slots=True, kw_only=True)
class Intent:
    """One reservation, by the oracle's own books."""

    bed: str
    watering: str
    by: str
    reserved_l: float
    open_s: float
    run: int
    sent_s: float | None = None
    proves: bool = False  # a walk or the weekly proof: exempt from rest and starts
    settled: Outcome | None = None
    charged_l: float = 0.0


class Oracle:
    """Watches one life."""

    def __init__(self, life: Life) -> None:
        self.life = life
        garden = life.garden
        self.run = 0  # processes so far
        self.began_s = 0.0
        self.caps = garden
        self.nonces: dict[str, dict[str, float]] = {valve: {} for valve in garden.valves}
        self.order: dict[str, tuple[int, int]] = dict.fromkeys(garden.valves, (0, 0))
        self.sent_s: dict[tuple[str, int, int], float] = {}
        self.commands: dict[str, str] = {}
        self.edges_s: dict[str, float] = {}
        self.intents: dict[str, Intent] = {}
        self.latches: dict[str, str | None] = {}
        self.holds: dict[str, float] = {}  # `lock`, `pause`, `pause-BED`, and until when
        self.unkept: set[str] = set()  # latches and holds that are not on disk yet
        self.foreign = False
        self.cold_until_s = -math.inf
        self.opened_s: dict[str, float] = {}
        self.shut_s: dict[str, float] = {}
        self.starts: dict[str, list[float]] = {bed: [] for bed in garden.beds}
        self.last_dose: dict[str, str] = {}
        self.forgot_s = -math.inf  # when the record was last lost or older than it should be
        self.vouched_s = -math.inf
        self.stranger_s = -math.inf
        self.measured_s = -math.inf  # when the meter last had reason to show more than beds drank
        self.epochs: list[int] = []
        self.leased_epochs: set[int] = set()
        self.asked: dict[str, OrderKind] = {}
        self.heard_s: dict[str, float] = {}  # probes: last sound word taken in
        self.states: dict[str, str] = {}
        self.dry_since_s: dict[str, float] = {}
        self.unsure_s: dict[str, float] = {}  # when a floor was last told to be unsure
        self.due_s: dict[str, tuple[float, float]] = {}  # since when, by which wall clock
        self.drank_s: dict[str, float] = {}  # beds: when a valve closed behind true water
        self.refusals = 0
        self.looks: dict[type[Event], Callable[[Any, list[Effect]], None]] = {
            Started: self._check_start,
            Order: self._check_order,
            ProbeReading: self._check_reading,
            WeatherReading: self._check_sky,
            ForeignController: self._hear_another,
        }

    def check(self, holds: bool, what: str) -> None:
        """Complain where something does not hold."""
        if not holds:
            raise BrokenError(what)

    # -- the nodes' side

    def told(self, valve: str, nonce: str) -> None:
        """A node gave out a nonce."""
        self.nonces[valve][nonce] = self.life.now_s

    def burnt(self, valve: str) -> None:
        """A close or a boot burns every nonce given out before."""
        self.nonces[valve].clear()

    def lapsed(self, valve: str) -> None:
        """A lease or the ceiling ended: the same."""
        self.nonces[valve].clear()

    def sent(self, lease: Lease) -> None:
        """A lease went out."""
        now_s = self.life.now_s
        self.sent_s[lease.valve, lease.epoch, lease.seq] = now_s
        self.leased_epochs.add(lease.epoch)
        intent = self.intents.get(lease.dose)
        if intent is not None and intent.sent_s is None:
            intent.sent_s = now_s

    def accepted(self, lease: Lease, nonce: str, *, stranger: bool) -> None:
        """A node took a lease."""
        valve, now_s = lease.valve, self.life.now_s
        told_s = self.nonces[valve].get(nonce)
        self.check(told_s is not None, f"I10: {valve} took a nonce of no state message of its own")
        self.check(
            now_s - (told_s or 0.0) <= NONCE_LIFE_S + TINY, f"I10: {valve} took an old nonce"
        )
        self.check((lease.epoch, lease.seq) > self.order[valve], f"I14: {valve} took a lease twice")
        self.order[valve] = (lease.epoch, lease.seq)
        self.check(1 <= lease.open_s <= LEASE_MOST_S, f"I1: {valve} took {lease.open_s} s")
        if stranger:
            self.stranger_s = now_s
            return
        sent_s = self.sent_s.get((valve, lease.epoch, lease.seq), -math.inf)
        self.check(now_s - sent_s <= NONCE_LIFE_S + TINY, f"I1: {valve} took a lease held for long")

    def opened(self, lease: Lease, *, stranger: bool) -> None:
        """A valve truly opened."""
        life, valve, now_s = self.life, lease.valve, self.life.now_s
        rested = now_s - self.shut_s.get(valve, -math.inf) >= REST_S
        if rested or valve not in self.opened_s:
            self.opened_s[valve] = now_s
        bed = life.beds.get(valve)
        if bed is None or stranger or now_s - self.stranger_s < QUIET_S:
            return
        openings = [v for v in life.beds if life.water.taps[v].opened_s is not None]
        at_once = life.engine.run.garden.garden.beds_at_once
        self.check(len(openings) <= at_once, f"I5: {', '.join(openings)} are open")
        if lease.dose == self.last_dose.get(bed):
            return
        before_s = self.shut_s.get(valve)
        intent = self.intents.get(lease.dose)
        proves = intent is not None and intent.proves
        if before_s is not None and not proves and now_s - self.forgot_s > DAY_S:
            rest_s = now_s - before_s
            self.check(rest_s >= OFF_LEAST_S - TINY, f"V10: {valve} rested {rest_s:.0f} s")
        self.last_dose[bed] = lease.dose
        if proves:
            return
        starts = self.starts[bed] = [s for s in self.starts[bed] if now_s - s < DAY_S]
        starts.append(now_s)
        if now_s - max(self.forgot_s, self.vouched_s) > DAY_S:
            self.check(len(starts) <= STARTS_MOST, f"V10: {valve} began {len(starts)} times")

    def shut(self, valve: str, at_s: float) -> None:
        """A valve truly closed."""
        life = self.life
        opened_s = self.opened_s.get(valve, at_s)
        self.check(at_s - opened_s <= CEILING_S + TINY, f"I2: {valve} was open too long")
        if valve == life.garden.master and at_s - self.stranger_s > DAY_S:
            most_s = CONTROLLER_MOST_S + LEASE_S + NONCE_LIFE_S
            self.check(at_s - opened_s <= most_s, "I2: the master was open past 5400 s")
        self.shut_s[valve] = at_s
        self._check_taps()
        bed = life.beds.get(valve)
        if bed is not None:
            self._check_budget(bed)
            piece = life.water.by_dose.get(life.water.taps[valve].dose)
            if piece is not None and piece.litres >= SIP_L:
                self.drank_s[bed] = at_s

    def _check_taps(self) -> None:
        life = self.life
        for valve, tap in life.water.taps.items():
            node = life.nodes[valve]
            is_open = tap.opened_s is not None
            if is_open and tap.until_s <= life.now_s:
                continue  # it ends at this very instant
            if node.is_open != is_open:
                raise BrokenError(f"I1: node and leases of {valve} disagree")
            if is_open and not life.now_s - tap.lease_s <= tap.lease_open_s + TINY:
                raise BrokenError(f"I1: {valve} is open on no lease")

    def broken(self, now: Breakage) -> None:
        """Take what is broken from now on."""
        if now.leak_l_min > 0.0 or now.stuck_open:
            self.measured_s = self.life.now_s

    # -- the process

    def started(self, *, kept: bool) -> None:
        """A process begins."""
        self.run += 1
        self.began_s = self.life.now_s
        self.commands.clear()
        self.heard_s.clear()
        self.asked.clear()
        self.dry_since_s.clear()
        self.due_s.clear()
        self.foreign, self.cold_until_s = False, -math.inf
        if not kept:
            self.forgot_s = self.life.now_s
            self.latches.clear()  # a record that is gone holds no latch; the budget is spent
            self.holds.clear()

    def kept(self) -> None:
        """All that waited is on disk."""
        self.unkept.clear()

    def cut(self, waits: int) -> None:
        """The process dies; a latch that a failing disk never took is lost with it."""
        if waits:
            for key in self.unkept:
                self.life.seen.one("other", "latch lost on a failing disk")
                self.latches.pop(key, None)
                self.holds.pop(key, None)
        self.unkept.clear()

    def older(self) -> None:
        """An older copy of the record was put in place."""
        self.forgot_s = self.life.now_s
        self.latches.clear()
        self.holds.clear()

    def saw(self, event: Event, effects: list[Effect]) -> None:
        """Hold one step of the engine against everything."""
        look = self.looks.get(type(event))
        if look is not None:
            look(event, effects)
        if self.holds:
            over = [key for key, until_s in self.holds.items() if event.at_utc_s >= until_s]
            for key in over:
                del self.holds[key]
        if not effects:
            return
        for effect in effects:
            self._check_effect(effect)
        self._check_valves()

    def _check_sky(self, event: WeatherReading, _: list[Effect]) -> None:
        cold = event.temp_c is not None and event.temp_c < FROST_C
        self.cold_until_s = self.life.now_s + 7200.0 if cold else -math.inf

    def _hear_another(self, event: ForeignController, _: list[Effect]) -> None:
        state = self.life.engine.state
        self.foreign = self.foreign or (state.ready and event.epoch >= state.epoch)

    def _check_effect(self, effect: Effect) -> None:
        match effect:
            case Lease():
                self._check_lease(effect)
                self.commands[effect.valve] = "lease"
            case Close():
                self.commands[effect.valve] = "close"
            case Reserve():
                self._check_reserve(effect)
            case Settle():
                self._check_settle(effect)
            case Ready():
                self._check_ready(effect)
            case Alerts():
                self._take_latches(effect)
            case Answer():
                self._check_answer(effect)
            case Note():
                self._check_note(effect)
            case _:
                pass

    def _take_latches(self, alerts: Alerts) -> None:
        for alert in alerts.standing:
            if alert.code in LATCHING and alert.person_needed and alert.id not in self.latches:
                self.unkept.add(alert.id)
                self.latches[alert.id] = alert.bed

    def _check_start(self, _: Started, effects: list[Effect]) -> None:
        told = {effect.valve for effect in effects if isinstance(effect, Close)}
        self.check(told == set(self.life.garden.valves), "I21: a start does not close every valve")

    def _check_ready(self, ready: Ready) -> None:
        life = self.life
        self.check(
            life.now_s - self.began_s >= QUIET_S - TINY, "I21: the quiet start was cut short"
        )
        known = {epoch for epoch in self.epochs if epoch in self.leased_epochs}
        if life.now_s - self.forgot_s > DAY_S * 10:
            self.check(ready.epoch > max(known, default=0), "I12: an epoch comes twice")
        self.epochs.append(ready.epoch)

    # -- leases

    def _check_lease(self, lease: Lease) -> None:
        life, state = self.life, self.life.engine.state
        self.check(life.now_s - self.began_s >= QUIET_S - TINY, "I21: a lease in the quiet start")
        self.check(state.ready, "I21: a lease before it was ready")
        self.check(life.link and state.link_up, "I6: a lease without a link")
        self.check("lock" not in self.holds, "I6: a lease while people work at the pipes")
        self.check(not (state.foreign or self.foreign), "I12: a lease beside another controller")
        intent = self.intents.get(lease.dose)
        self.check(intent is not None, f"I7: {lease.dose} was never reserved")
        assert intent is not None
        walked = intent.proves or armed(life.engine.run, intent.bed)
        self.check(walked, "I6: a lease of a valve that was not walked")
        self.check(intent.run == self.run, f"I21: {lease.dose} is of a process that is gone")
        row = life.record.disk.rows.get(lease.dose)
        self.check(row is not None, f"I7: {lease.dose} is not on disk")
        bed = life.beds.get(lease.valve)
        latched = self._latched(bed)
        self.check(not latched, f"I18: a lease for {lease.valve} behind {latched}")
        if bed is None:
            return
        self.check(intent.bed == bed, f"I7: {lease.valve} opens for a dose of {intent.bed}")
        self.check(intent.settled is None, f"I8: {lease.dose} was settled before")
        self.check(lease.open_s <= intent.open_s, f"I7: {lease.dose} is leased past its intent")
        self._check_first(lease, intent, bed)

    def _check_first(self, lease: Lease, intent: Intent, bed: str) -> None:
        now_s = self.life.now_s
        if intent.sent_s is None:
            last_s = self.edges_s.get("planned", -math.inf)
            self.check(now_s - last_s >= EDGE_GAP_S - TINY, "E4: two valve edges within 5 s")
            self.edges_s["planned"] = now_s
        if intent.by == "policy":
            paused = "pause" in self.holds or f"pause-{bed}" in self.holds
            self.check(not paused, f"I6: {bed} is paused")

    def _latched(self, bed: str | None) -> str:
        """The latch that keeps a bed shut; of the master, one that keeps all shut."""
        for key, of in self.latches.items():
            if of is None or of == bed:
                return key
        return ""

    # -- the books

    def _check_reserve(self, reserve: Reserve) -> None:
        life, state, run = self.life, self.life.engine.state, self.life.engine.run
        bed = reserve.bed
        self.check(state.ready, "I21: reserved in the quiet start")
        self.check(not self._latched(bed), f"I18: {bed} reserved behind {self._latched(bed)}")
        self.check(0.0 < reserve.reserved_l < math.inf, f"I16: reserved {reserve.reserved_l} L")
        before = self.intents.get(reserve.dose)  # one that a hanging disk never took may come again
        known = reserve.dose in life.record.disk.rows or (before and before.sent_s is not None)
        if known and reserve.dose in life.record.lost - life.record.disk.rows.keys():
            known = False  # an older record, and no node that spoke knew of the younger one
            life.seen.one("other", "dose named again after an older record")
            life.water.by_dose.pop(reserve.dose, None)
        self.check(not known, f"I8: {reserve.dose} comes twice")
        self._check_finite(reserve)
        spent = sum(1 for one in state.ledger if not counts(one, run.trusted_s))
        self.check(spent == 0, f"I17: the ledger keeps {spent} that no window reaches")
        caps = run.garden.limits_for(bed)
        before_l = math.fsum(
            intent.charged_l for intent in self.intents.values()
            if intent.watering == reserve.watering and intent.bed == bed and intent.run == self.run
        )  # fmt: skip
        total_l = before_l + reserve.reserved_l
        self.check(total_l <= caps.dose_l + TINY, f"I3: {total_l:.1f} L in one watering of {bed}")
        used_bed_l = self._charged_l(bed) + reserve.reserved_l
        used_site_l = self._charged_l(None) + reserve.reserved_l
        self.check(used_bed_l <= caps.bed_l_day + TINY, f"I3: {bed} goes to {used_bed_l:.1f} L")
        most_l = run.garden.site_l_day
        self.check(used_site_l <= most_l + TINY, f"I3: the garden goes to {used_site_l:.1f} L")
        self.intents[reserve.dose] = Intent(
            bed=bed,
            watering=reserve.watering,
            by=reserve.by,
            reserved_l=reserve.reserved_l,
            open_s=reserve.open_s,
            run=self.run,
            charged_l=reserve.reserved_l,
            proves=reserve.by.startswith("walk:") or reserve.by == "proof",
        )
        if reserve.by != "policy":
            life.seen.one("by", reserve.by.partition(":")[0])
        self._check_traffic(bed)
        if reserve.by == "policy":
            self._check_evidence(bed)
            paused = "pause" in self.holds or f"pause-{bed}" in self.holds
            self.check(not paused, f"I6: {bed} is paused")
        self.check("lock" not in self.holds, "I6: reserved while people work at the pipes")
        self.check(life.now_s > self.cold_until_s, "I6: reserved in a frost")

    def _charged_l(self, bed: str | None) -> float:
        """What the record has charged within 24 h of trusted time, before this [L]."""
        trusted_s = self.life.engine.run.trusted_s
        disk = self.life.record.disk
        return math.fsum(
            self._row_l(dose, row)
            for dose, row in disk.rows.items()
            if (bed is None or row.bed == bed)
            and (row.ended_trusted_s is None or trusted_s - row.ended_trusted_s < DAY_S)
        )

    def _row_l(self, dose: str, row: Row) -> float:
        """What a row is charged; one that the engine has settled and the disk not yet, by that."""
        intent = self.intents.get(dose)
        waits = row.outcome is None and intent is not None and intent.settled is not None
        return intent.charged_l if waits and intent is not None else row.charged_l

    def _check_traffic(self, bed: str) -> None:
        """I5 and I9: whoever asks, no more beds at once than may be, and not more than flows."""
        run = self.life.engine.run
        others = [
            name
            for name in run.garden.beds
            if name != bed
            and self.life.water.taps[run.garden.beds[name].valve].opened_s is not None
        ]
        if self.life.now_s - self.stranger_s < DAY_S:
            return
        self.check(len(others) < run.garden.garden.beds_at_once, f"I5: {bed} beside {others}")
        flow_l_min = sum(run.garden.beds[name].flow_l_min for name in [*others, bed])
        fits = not others or flow_l_min <= SUPPLY_SHARE * run.garden.supply.flow_l_min
        self.check(fits, f"I9: {flow_l_min:.1f} L/min together")

    def _check_evidence(self, bed: str) -> None:
        """I11: what is given by the probes' word rests on one that was heard in this run."""
        state = self.life.engine.state
        watering = state.waterings.get(bed)
        if watering is None or watering.done or state.beds[bed].said.code in BLIND_YES:
            return
        since_s = self.life.now_s - watering_age_s(state, watering)
        heard = [self.heard_s.get(p, -math.inf) for p in self.life.garden.beds[bed].probes]
        self.check(max(heard) >= since_s - READING_OLD_S, f"I11: {bed} drinks by no word of now")

    def _check_settle(self, settle: Settle) -> None:
        intent = self.intents.get(settle.dose)
        self._check_finite(settle)
        if intent is None:
            return
        self.check(intent.settled is None, f"I8: {settle.dose} ends twice")
        intent.settled, intent.charged_l = settle.outcome, settle.charged_l
        self.life.seen.one("outcome", settle.outcome.value)
        piece = self.life.water.by_dose.get(settle.dose)
        if piece is None:
            return
        never = settle.outcome is Outcome.NEVER_SENT
        self.check(not never, f"I8: {settle.dose} gave {piece.litres:.2f} L and was never sent")
        self.check(
            piece.litres <= settle.charged_l + TINY,
            f"I3: {settle.dose} gave {piece.litres:.2f} L, charged {settle.charged_l:.2f}",
        )
        self.check(
            piece.open_s <= settle.open_s + TINY,
            f"I8: {settle.dose} was open {piece.open_s:.0f} s, logged {settle.open_s:.0f}",
        )

    def _check_budget(self, bed: str) -> None:
        """I3: true litres <= charged <= cap, in the window that ends now."""
        life = self.life
        true_l = life.water.litres_of_last_day(bed)
        excused = max(self.vouched_s, self.stranger_s)
        if life.now_s - excused > DAY_S:
            most_l = max(CAPS["bed_l_day"], life.garden.limits_for(bed).bed_l_day)
            self.check(true_l <= most_l + TINY, f"I3: {bed} drank {true_l:.1f} L in a day")
            all_l = life.water.litres_of_last_day()
            most_l = max(CAPS["site_l_day"], life.garden.site_l_day)
            self.check(all_l <= most_l + TINY, f"I3: all beds drank {all_l:.1f} L in a day")
        piece_doses = {p.dose for p in life.water.pieces if p.bed == bed}
        if not life.power or piece_doses & life.record.lost:
            return
        run = life.engine.run
        charged_l = used_l(run.state.ledger, run.trusted_s, bed)
        self.check(true_l <= charged_l + TINY, f"I3: {bed} drank {true_l:.2f} of {charged_l:.2f} L")

    # -- what was understood

    def _check_reading(self, event: ProbeReading, _: list[Effect]) -> None:
        probe = self.life.engine.run.state.probes.get(event.probe)
        if probe is None:
            return
        taken = probe.mono_s == event.mono_s and probe.value == event.value
        if event.not_now:
            self.check(not taken, f"I11: a {event.not_now} reading of {event.probe} was believed")
        elif taken:
            self.heard_s[event.probe] = self.life.now_s
            theta = probe.theta_m3_m3
            if theta is None or not 0.0 <= theta <= 0.6:
                raise BrokenError(f"I11: {event.probe} tells {theta}")

    def _check_order(self, order: Order, effects: list[Effect]) -> None:
        life = self.life
        answers = [e for e in effects if isinstance(e, Answer) and e.order == order.order]
        waits = not answers and any(
            isinstance(e, Reserve) and e.by.startswith("hand:") for e in effects
        )
        self.check(len(answers) == (0 if waits else 1), f"I24: {order.what} was not answered")
        if waits:
            self.asked[order.order] = order.what
        if order.what in CLOSING_ORDERS and answers and answers[0].status in {
            "accepted", "unrecorded",
        }:  # fmt: skip
            told = {e.valve for e in effects if isinstance(e, Close)}
            beds = life.garden.beds if order.bed is None else [order.bed]
            wanted = {life.garden.beds[bed].valve for bed in beds}
            self.check(wanted <= told, f"I19: {order.what} without a close")
        if order.what in {OrderKind.STOP, OrderKind.STOP_ALL} and (
            order.bed is None or order.bed in life.garden.beds
        ):
            self.check(answers[0].status == "accepted", f"I19: {order.what}: {answers[0].status}")
        if answers and answers[0].status in {"accepted", "unrecorded"}:
            self._hold(order)
        if order.what is OrderKind.CLEAR and answers and answers[0].reason == "lifted":
            self.latches.pop(order.alert or "", None)
            if order.alert == "history_lost":
                self.vouched_s = life.now_s

    def _hold(self, order: Order) -> None:
        """Remember what a person said no with."""
        pause = "pause" if order.bed is None else f"pause-{order.bed}"
        match order.what:
            case OrderKind.LOCK:
                self.holds["lock"] = math.inf
                self.unkept.add("lock")
            case OrderKind.UNLOCK:
                self.holds.pop("lock", None)
            case OrderKind.PAUSE:
                self.holds[pause] = order.until_utc_s or 0.0
                self.unkept.add(pause)
            case OrderKind.RESUME:
                self.holds.pop(pause, None)
            case _:
                pass

    def _check_answer(self, answer: Answer) -> None:
        self.life.seen.one("answer", answer.status)
        if answer.status != "accepted" and answer.reason in REFUSED:
            self.life.seen.one("refusal", answer.reason)
        self.asked.pop(answer.order, None)
        self.check(bool(answer.reason and answer.text), "I24: an answer without a reason")
        self._check_finite(answer)

    def _check_note(self, note: Note) -> None:
        seen = self.life.seen
        for name, value in note.numbers.items():
            self.check(math.isfinite(value), f"I16: {note.code}: {name} is {value}")
        if note.what == "watering":
            seen.one("ended by", note.code)
        elif note.what == "alert" and not note.code.endswith("_ended"):
            seen.one("alert", note.code)
        elif note.what == "decision":
            seen.one("decision", note.code)
            self._note_due(note.bed or "", note.code)
        if note.what == "order" and "refused" in note.text:
            self.refusals += 1

    def _check_finite(self, effect: Any) -> None:
        for one in fields(effect):
            value = getattr(effect, one.name)
            if isinstance(value, float):
                name = type(effect).__name__
                self.check(math.isfinite(value), f"I16: {name}.{one.name} is {value}")

    def _check_valves(self) -> None:
        """I6 and I24: unknown is closed, and closed is proved."""
        life, seen = self.life, self.life.seen
        for valve, held in life.engine.state.valves.items():
            before = self.states.get(valve)
            if before != held.state:
                self.states[valve] = held.state
                if before is not None:
                    seen.one("valve", f"{before}>{held.state}")
            self._check_valve(valve, held.state)
        for watering in life.engine.state.waterings.values():
            if watering.pulse is not None:
                seen.one("pulse", watering.pulse.phase)
                if watering.pulse.phase == "closing":
                    seen.one("pulse ended by", watering.pulse.ended_by)

    def _check_valve(self, valve: str, state: str) -> None:
        if state in {"unknown", "told_to_close"}:
            told = self.commands.get(valve, "close")
            self.check(told == "close", f"I6: {valve} is {state}, last told {told}")
        elif state == "closed" and self.life.now_s - self.stranger_s > QUIET_S:
            shut = self.life.water.taps[valve].opened_s is None
            self.check(shut, f"I24: {valve} is shown closed and is open")

    # -- now and then

    def each_ten_minutes(self) -> None:
        """What is looked at on the grid."""
        life = self.life
        life.water.forget_old()
        if not life.power:
            return
        state = life.engine.state
        for bed in life.garden.beds:
            self._check_thirst(bed)
            self._check_due(bed)
        least = state.ledger and life.now_s % 3600.0 == 0.0
        if least:
            for bed in life.garden.beds:
                self._check_budget(bed)
        if life.breakage.leak_l_min > 0.0 or life.breakage.stuck_open:
            self.measured_s = life.now_s

    def _check_thirst(self, bed: str) -> None:
        """I23: a bed past its floor is watered within six hours, or an alarm stands.

        A day where it is not sure to be past it.
        """
        life, state = self.life, self.life.engine.state
        day, memory = state.days[bed], state.beds[bed]
        told = state.water[bed].depletion_mm > day.floor_frac * day.taw_mm
        truly = life.depletion[bed] > day.floor_frac + 0.05 and all(
            life.now_s - self.heard_s.get(p, -math.inf) < 1300.0
            for p in life.garden.beds[bed].probes
        )
        if not told and not truly:
            self.dry_since_s.pop(bed, None)
            self.dry_since_s.pop(f"{bed}!", None)
            return
        called = any(self._calls(alert, bed) for alert in state.alerts.values())
        watering = state.waterings.get(bed)  # one that only waits for its turn is no water
        drinks = watering is not None and (watering.pulse is not None or watering.given_l > 0.0)
        served = drinks or called or memory.said.code in NOT_GROWING
        if life.now_s - self.drank_s.get(bed, -math.inf) <= LOOK_S:
            served = True  # a watering that began and ended between two looks
        if memory.said.code == "floor_unsure":
            self.unsure_s[bed] = life.now_s
        # as unsure as it was when it was judged last, an hour ago at most
        unsure = life.now_s - self.unsure_s.get(bed, -math.inf) <= DRY_MOST_S - 6 * 3600.0
        told_s = DRY_UNSURE_S if unsure else DRY_MOST_S
        for key, dry, most_s in ((bed, told, told_s), (f"{bed}!", truly, DRY_TRULY_S)):
            if not dry or served:
                self.dry_since_s.pop(key, None)
                continue
            since_s = self.dry_since_s.setdefault(key, life.now_s)
            self.check(
                life.now_s - since_s <= most_s,
                f"I23: {key} stands past its floor for {(life.now_s - since_s) / 3600.0:.1f} h, "
                f"neither watered nor called: {memory.said.code}",
            )

    def _note_due(self, bed: str, code: str) -> None:
        if code in TO_DRINK:
            self.due_s.setdefault(bed, (self.life.now_s, self.life.wall_off_s))
        elif code not in STILL_TO_DRINK:
            self.due_s.pop(bed, None)

    def _check_due(self, bed: str) -> None:
        """I23: a bed that was to drink has, or is called when its hours are over."""
        now_s, wall_off_s = self.life.now_s, self.life.wall_off_s
        if bed not in self.due_s:
            return
        since_s, by_off_s = self.due_s[bed]
        if by_off_s != wall_off_s or self.drank_s.get(bed, -math.inf) >= since_s:
            self.due_s.pop(bed)  # hours go by the wall clock: a day of it is no day
            return
        if any(self._calls(alert, bed) for alert in self.life.engine.state.alerts.values()):
            self.due_s[bed] = now_s, wall_off_s
            return
        most_s = HOURS_MOST_S[self.life.garden.garden.hours] + DRY_MOST_S
        self.check(
            now_s - since_s <= most_s,
            f"I23: {bed} was to drink {(now_s - since_s) / 3600.0:.1f} h ago, "
            f"and neither drank nor is called",
        )

    def _calls(self, alert: Alert, bed: str) -> bool:
        """Whether an alert tells of this bed's water: by its name, or as all beds' hindrance."""
        garden = self.life.garden
        own = garden.beds[bed]
        if alert.bed is not None or alert.probe is not None:
            return alert.bed == bed or alert.probe in own.probes
        if alert.valve is not None:
            return alert.valve == own.valve or garden.valves[alert.valve].role != "bed"
        return alert.code in HINDERS_ALL

    def at_the_end(self) -> None:
        """After a calm hour: all closed, every intent at its one end, nothing without bounds."""
        life = self.life
        self._check_taps()
        still = [v for v, tap in life.water.taps.items() if tap.opened_s is not None]
        self.check(not still, f"I19: {still} are open at the end")
        for dose, row in life.record.disk.rows.items():
            self.check(row.outcome is not None, f"I8: {dose} never ended")
            if row.outcome is Outcome.NEVER_SENT:
                self.check(row.charged_l == 0.0, f"I8: {dose} was never sent and is charged")
            piece = life.water.by_dose.get(dose)
            if piece is not None:
                fits = piece.litres <= row.charged_l + TINY
                self.check(fits, f"I3: {dose} gave {piece.litres:.2f} L of {row.charged_l:.2f}")
                self.check(piece.open_s <= row.open_s + TINY, f"I8: {dose} open {piece.open_s} s")
        self.check(not self.asked, f"I24: {list(self.asked.values())} were never answered")
        state = life.engine.state
        size = len(life.engine.dump())
        self.check(size <= STATE_BYTES_MOST, f"I17: the state takes {size} bytes")
        entries = len(state.ledger)
        self.check(entries <= LEDGER_MOST * len(life.garden.beds), f"I17: {entries} in the ledger")
        for name in non_finite(state):
            raise BrokenError(f"I16: state.{name} is not finite")


def watering_age_s(state: Any, watering: Any) -> float:
    """How long ago a watering was decided, by a clock that may have jumped [s]."""
    return float(min(max(0.0, state.at_utc_s - watering.started_utc_s), DAY_S))


def non_finite(value: object, name: str = "") -> Iterable[str]:
    """Places of numbers that are not finite in a tree of dataclasses."""
    if isinstance(value, float):
        if not math.isfinite(value):
            yield name
    elif is_dataclass(value):
        for one in fields(value):
            yield from non_finite(getattr(value, one.name), f"{name}.{one.name}")
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from non_finite(one, f"{name}[{key}]")
    elif isinstance(value, list | tuple):
        for n, one in enumerate(value):
            yield from non_finite(one, f"{name}[{n}]")
