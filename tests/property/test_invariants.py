"""What holds at every instant, whatever happens: random scripts over the engine and real nodes.

The truth is reckoned from the leases that the nodes accepted; the invariants are compared with it
after every event. Valves here may be deaf to closes but keep their leases: one that sticks open is
the stated exception, bounded by the master valve.
"""

from __future__ import annotations

import random
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from controller import grid
from controller.effects import Close, Effect, Lease, Outcome, Reserve
from controller.events import Event, ForeignController, Order, OrderKind
from controller.garden import Garden
from controller.watering.guard import latched
from controller.watering.limits import used_l
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, QUIET_S, START_UTC_S, small_garden

LEASE_MOST_S = 120.0
LEASE_S, NONCE_LIFE_S = 90.0, 45.0
OFF_LEAST_S = 600.0
STARTS_MOST = 12
LATE_REPORT_S = 40.0  # a link that holds things up for longer is a lost one: no canary for 45 s
LATE_LEASE_S = 70.0
BEDS = ("south", "wall", "hedge")
CAPS: dict[str, Any] = {"bed_l_day": 130.0, "dose_l": 110.0, "site_l_day": 260.0}

GARDENS: dict[str, Garden] = {
    "plain": small_garden(beds=BEDS, **CAPS),
    "master": small_garden(beds=BEDS, master=True, **CAPS),
    "meter": small_garden(beds=BEDS, meter=True, at_once=2, **CAPS),
    "all": small_garden(beds=BEDS, master=True, meter=True, at_once=2, **CAPS),
}


class Watched(Bench):
    """A bench that holds every event against the invariants."""

    def __init__(self, garden: Garden, seed: int) -> None:
        self.random = random.Random(seed)
        self.network = "clean"
        self.commands: dict[str, str] = {}
        self.first_leases: dict[str, list[float]] = {bed: [] for bed in garden.beds}
        self.last_dose: dict[str, str] = {}
        self.forgot = False
        self.measured_more = False
        super().__init__(garden)

    def delays_s(self, kind: str, valve: str) -> list[float]:
        if not super().delays_s(kind, valve):
            return []
        if self.network == "clean":
            return [0.0]
        lot = self.random.random()
        if self.network == "lossy":
            return [] if lot < 0.4 else [0.0]
        late_s = LATE_LEASE_S if kind != "report" else LATE_REPORT_S
        if lot < 0.15:
            return [0.0, self.random.uniform(0.0, late_s)]
        return [self.random.uniform(0.0, late_s)] if lot < 0.6 else [0.0]

    # -- the invariants

    def seen(self, event: Event, effects: list[Effect]) -> None:
        for effect in effects:
            if isinstance(effect, Lease):
                self._check_lease(effect)
                self.commands[effect.valve] = "lease"
            elif isinstance(effect, Close):
                self.commands[effect.valve] = "close"
            elif isinstance(effect, Reserve):
                assert self.engine.state.ready, "I21: reserved in the quiet start"
        if isinstance(event, Order):
            self._check_stop(event, effects)
        self._check_unknown()
        self._check_budget()

    def _check_lease(self, lease: Lease) -> None:
        run, state = self.engine.run, self.engine.state
        assert state.ready, "I21: a lease in the quiet start"
        assert self.mono_s >= QUIET_S, "I21: a quiet start that was cut short"
        assert state.link_up, "a lease without a link"
        assert state.lock_why is None, "I6: a lease while people work at the pipes"
        assert not state.foreign, "I12: a lease beside another controller"
        bed = self.beds.get(lease.valve)
        if bed is None:
            site_wide = [b for b in self.garden.beds if latched(run, b)]
            assert len(site_wide) < len(self.garden.beds), "I18: the master behind a latch"
            return
        assert not latched(run, bed), "I18: a lease behind a latch"
        row = self.record.rows.get(lease.dose)
        assert row is not None, "I7: a lease that no record holds"
        assert row.bed == bed, "I7: a lease for another bed's dose"
        assert row.outcome is None, "I8: a lease after its dose was settled"
        watering = state.waterings.get(bed)
        assert watering is not None, "a lease without a watering"
        paused = state.pause or state.beds[bed].pause
        if watering.by == "policy" and paused is not None:
            assert state.at_utc_s >= paused.until_utc_s, "I6: a lease of the policy in a pause"

    def _check_stop(self, order: Order, effects: list[Effect]) -> None:
        if order.what not in {OrderKind.STOP, OrderKind.STOP_ALL, OrderKind.LOCK}:
            return
        told = {e.valve for e in effects if isinstance(e, Close)}
        beds = [order.bed] if order.bed is not None else list(self.garden.beds)
        assert {self.garden.beds[bed].valve for bed in beds} <= told, "I19: a stop without a close"

    def _check_unknown(self) -> None:
        for valve, held in self.engine.state.valves.items():
            if held.state in {"unknown", "told_to_close"} and valve in self.commands:
                assert self.commands[valve] == "close", f"I6: {valve} is {held.state}"

    def _check_budget(self) -> None:
        ledger, trusted_s = self.engine.state.ledger, self.engine.run.trusted_s
        for bed in self.garden.beds:
            charged_l = used_l(ledger, trusted_s, bed)
            assert self.litres_of_last_day(bed) <= charged_l + 1e-6, f"I3: {bed} drank uncharged"
            if not self.measured_more:
                assert charged_l <= CAPS["bed_l_day"] + 1e-6, f"I3: {bed} past its cap"
        if not self.measured_more:
            assert used_l(ledger, trusted_s) <= CAPS["site_l_day"] + 1e-6, "I3: the site's cap"

    def opened(self, valve: str, dose: str) -> None:
        bed = self.beds.get(valve)
        if bed is None:
            return
        assert len(self.open_beds()) <= self.garden.garden.beds_at_once, "I5: too many open"
        row = self.record.rows[dose]
        starts = self.first_leases[bed]
        again = any(edge == "open" for _, v, edge in self.edges[:-1] if v == valve)
        if again and not self.forgot and dose != self.last_dose.get(bed):
            assert self.now_s - self.shut_at(valve) >= OFF_LEAST_S - 1e-6, "V10: no rest"
        if dose != self.last_dose.get(bed):
            starts.append(self.now_s)
        self.last_dose[bed] = dose
        today = [at_s for at_s in starts if at_s > self.now_s - DAY_S]
        assert len(today) <= STARTS_MOST, "V10: too many starts"
        assert row.bed == bed

    def shut_at(self, valve: str) -> float:
        return max(at_s for at_s, v, edge in self.edges if v == valve and edge == "close")

    def _pass(self, to_s: float) -> None:
        super()._pass(to_s)
        for valve, node in self.nodes.items():
            assert node.is_open == self.is_open(valve), "the bench and the node disagree"
            if node.is_open:
                age_s = self.now_s - self.flows[valve].lease_s
                assert age_s <= LEASE_MOST_S, "I1: open on a lease of the past"
                assert self.now_s - self.sent_s(valve) <= NONCE_LIFE_S + LEASE_S + 1e-6, "I1"

    def sent_s(self, valve: str) -> float:
        sent = [at_s for at_s, e in reversed(self.log) if isinstance(e, Lease) and e.valve == valve]
        return sent[0]

    def check_books(self) -> None:
        """I8: after a calm hour every reservation has come to its one end."""
        for dose, row in self.record.rows.items():
            assert row.outcome is not None, f"I8: {dose} never ended"
            if row.outcome is Outcome.NEVER_SENT:
                assert row.charged_l == 0.0


def at_any(*values: Any) -> st.SearchStrategy[Any]:
    return st.sampled_from(values)


BED = at_any(*BEDS)
VALVE = at_any(*BEDS, "master")
OPS = st.one_of(
    st.tuples(st.just("live"), at_any(20.0, 61.0, 300.0, 1300.0, 4000.0), at_any(1.0, 5.0, 7.0)),
    st.tuples(st.just("live"), at_any(900.0, 3000.0, 7000.0), at_any(10.0, 19.0, 33.0)),
    st.tuples(st.just("live"), at_any(700.0, 7200.0, 30000.0), at_any(60.0, 130.0, 600.0)),
    st.tuples(st.just("water"), BED, at_any(2.0, 10.0, 40.0, 60.0)),
    st.tuples(st.just("water"), BED, at_any(10.0, 40.0)),
    st.tuples(st.just("dry"), BED, at_any(0.02, 0.3, 0.45, 0.6, 0.9)),
    st.tuples(st.just("stop"), at_any(None, *BEDS)),
    st.tuples(st.just("pause"), at_any(None, *BEDS), at_any(100.0, 20000.0)),
    st.tuples(st.just("order"), at_any("lock", "unlock", "resume")),
    st.tuples(st.just("clear"), at_any(True, False)),
    st.tuples(st.just("wall"), at_any(-90000.0, 90000.0, -600.0, 3600.0, "1970", "right")),
    st.tuples(st.just("link"), at_any(True, False)),
    st.tuples(st.just("network"), at_any("clean", "lossy", "late")),
    st.tuples(st.just("reboot"), VALVE),
    st.tuples(st.just("deaf_to_close"), VALVE),
    st.tuples(st.just("deaf"), VALVE),
    st.tuples(st.just("mute"), VALVE),
    st.tuples(st.just("record"), at_any("ok", "ok", "fail", "hold")),
    st.tuples(st.just("restart"), at_any(0.1, 5.0, 100.0, 9000.0), st.booleans(), st.booleans()),
    st.tuples(st.just("contract"), VALVE, at_any(1, 2)),
    st.tuples(st.just("gush"), at_any(0.0, 0.0, 0.2, 9.0)),
    st.tuples(st.just("foreign"), at_any(0, 1, 9)),
)


def toggle(members: set[str], one: str) -> None:
    if one in members:
        members.discard(one)
    else:
        members.add(one)


def mend(bench: Watched) -> None:
    """The network, the nodes and the disk are sound again."""
    bench.network = "clean"
    bench.deaf.clear()
    bench.deaf_to_close.clear()
    bench.mute.clear()
    bench.gush_l_min = 0.0
    bench.record_mode = "ok"
    bench.let_record()
    if not bench.link_up:
        bench.connect()


def people(bench: Watched, op: tuple[Any, ...]) -> bool:
    """Orders of people; tells whether it was one."""
    match op:
        case ("water", bed, litres):
            bench.order("water", bed, litres=litres)
        case ("stop", None):
            bench.order("stop_all")
        case ("stop", bed):
            bench.order("stop", bed)
        case ("pause", bed, seconds):
            bench.order("pause", bed, until_utc_s=bench.at_utc_s + seconds)
        case ("order", what):
            bench.order(what, why="a test" if what == "lock" else "")
        case ("clear", everything):
            standing = list(bench.engine.state.alerts)
            for alert in standing if everything else standing[:1]:
                bench.order("clear", alert=alert, why="looked at it")
        case _:
            return False
    return True


def nature(bench: Watched, op: tuple[Any, ...]) -> None:
    """Time, weather, network, nodes, disk and power."""
    match op:
        case ("live", seconds, tick_s):
            bench.live(seconds, tick_s)
        case ("dry", bed, depletion_frac):
            bench.dry_out(depletion_frac, bed)
        case ("wall", "1970"):
            bench.wall_ahead_s = -bench.now_s + 1000.0
        case ("wall", "right"):
            bench.wall_ahead_s = START_UTC_S
        case ("wall", seconds):
            bench.wall_ahead_s += seconds
        case ("network", kind):
            bench.network = kind
        case ("gush", l_min):
            bench.gush_l_min = l_min
            bench.measured_more = bench.measured_more or l_min > 0.0
        case ("foreign", epoch):
            bench.step(ForeignController(**bench.times(), epoch=epoch))
        case _:
            machines(bench, op)


def machines(bench: Watched, op: tuple[Any, ...]) -> None:
    match op:
        case ("link", True) if not bench.link_up:
            bench.connect()
        case ("link", False) if bench.link_up:
            bench.disconnect()
        case ("reboot", valve) if valve in bench.nodes:
            bench.reboot(valve)
        case ("deaf_to_close" | "deaf" | "mute" as what, valve) if valve in bench.nodes:
            toggle(getattr(bench, what), valve)
        case ("contract", valve, number) if valve in bench.nodes:
            bench.contracts[valve] = number
        case ("record", mode):
            bench.record_mode = mode
            if mode == "ok":
                bench.let_record()
        case ("restart", gap_s, trusted, keep):
            bench.forgot = bench.forgot or not keep
            bench.restart(gap_s, trusted=trusted, keep=keep)
            bench.connect()
        case _:
            pass


@pytest.mark.hazard("V7", "V8", "V10")
@pytest.mark.parametrize(
    "kind", [pytest.param(k, marks=[] if k == "all" else pytest.mark.slow) for k in GARDENS]
)
@settings(
    max_examples=50,
    deadline=None,
    derandomize=True,
    phases=(Phase.explicit, Phase.generate),  # a failing script is long enough to read as it is
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(seed=st.integers(0, 2**16), script=st.lists(OPS, min_size=4, max_size=30))
def test_random_scripts_break_no_invariant(
    kind: str, seed: int, script: list[tuple[Any, ...]]
) -> None:
    bench = Watched(GARDENS[kind], seed)
    bench.dry_out(0.45)
    for op in script:
        if not people(bench, op):
            nature(bench, op)
    mend(bench)
    bench.order("stop_all")
    bench.order("lock", why="the end")
    bench.live(3600.0, tick_s=20.0)
    assert bench.open_beds() == []
    bench.check_books()


# -- I13: the wall clock adds no water and shortens no wait

JUMPS_S = (25 * 3600.0, -25 * 3600.0, -3 * DAY_S, 365 * DAY_S, -START_UTC_S, 600.0)


def scrambled(bench: Bench, seconds: float, seed: int, tick_s: float = 10.0) -> None:
    """Live while the wall clock is thrown about before each tick."""
    lots = random.Random(seed)
    end_s = bench.now_s + seconds
    while bench.now_s < end_s:
        bench.wall_ahead_s = START_UTC_S + lots.choice(JUMPS_S)
        bench.tick(tick_s)


@pytest.mark.parametrize("seed", range(5))
def test_a_scrambled_clock_dries_no_bed_faster(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """With evapotranspiration as recorded, an hour is an hour whatever the clock says."""
    monkeypatch.setattr(grid, "step_eto_mm", lambda *_: 0.03)
    calm, thrown = Bench(GARDENS["plain"]), Bench(GARDENS["plain"])
    before_mm = thrown.engine.state.water["south"].depletion_mm
    calm.live(3600.0, tick_s=10.0)
    scrambled(thrown, 3600.0, seed)
    used_mm = calm.engine.state.water["south"].depletion_mm - before_mm
    assert used_mm > 0.0
    found_mm = thrown.engine.state.water["south"].depletion_mm - before_mm
    assert found_mm <= used_mm * 7.0 / 6.0 + 1e-9  # one grid step more, at most


@pytest.mark.hazard("T1", "T2")
@pytest.mark.parametrize("seed", range(5))
def test_a_scrambled_clock_refills_no_budget_and_shortens_no_rest(seed: int) -> None:
    bench = Watched(GARDENS["all"], seed)
    bench.order("water", "south", litres=60.0)
    scrambled(bench, 4000.0, seed)
    assert bench.litres["south"] > 0.0
    for _ in range(40):
        bench.order("water", "south", litres=30.0)
        scrambled(bench, 1300.0, seed + 1, tick_s=20.0)
    assert bench.litres_of_last_day("south") <= CAPS["bed_l_day"]


def test_a_scrambled_clock_ends_no_quiet_start() -> None:
    bench = Bench(GARDENS["plain"], ready=False)
    bench.connect()
    bench.dry_out(0.6)
    scrambled(bench, QUIET_S - 1.0, 3, tick_s=1.0)
    assert bench.of(Lease) == []


@pytest.mark.parametrize("kind", list(GARDENS))
def test_the_scripts_have_water_to_watch(kind: str) -> None:
    """The oracle is worth something: in a calm script beds open and books are settled."""
    bench = Watched(GARDENS[kind], 1)
    bench.dry_out(0.6)
    bench.live(4 * 3600.0, tick_s=10.0)
    bench.live(3600.0, tick_s=10.0)
    assert len(bench.first_leases["south"]) >= 2
    assert sum(bench.litres.values()) > 100.0
    bench.check_books()


def test_the_oracle_sees_an_engine_that_forgets_to_charge() -> None:
    bench = Watched(GARDENS["plain"], 1)
    bench.order("water", "south", litres=40.0)
    bench.live(120.0)
    bench.engine.state.ledger.clear()
    with pytest.raises(AssertionError, match="I3"):
        bench.live(30.0)
