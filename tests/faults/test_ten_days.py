"""Ten simulated days in which everything dies in turn, and the garden is watered in between.

Real engine, guard, ledger, database and node machines on one driven clock
(`tests/scripts/stored.py`); the oracle of the hostile scripts holds I1 to I24 all along, and after
each start the database has to bring back what memory has. Every seven hours somebody puts things
right and a small dose is ordered, which has to come as ordered: the control. Then another dose is
ordered, and a minute into it the next thing breaks.
"""

from __future__ import annotations

import logging
import math
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from controller.events import ForeignController
from sim.faults import Fault, Kind, What
from tests.end_to_end.live_garden import tell
from tests.faults.stored_bench import Disk
from tests.scripts import acts
from tests.scripts.gardens import BEDS, CAPS
from tests.scripts.script import Script
from tests.scripts.stored import StoredLife

DAY_S, HOUR_S, MINUTE_S = 86_400.0, 3600.0, 60.0
DAYS = 10
SLOT_S = 7 * HOUR_S
ALARM_S = 15 * MINUTE_S  # where the hazard's row names no time
MAST_S = 3 * HOUR_S  # its last word counts for two, and it is looked for once an hour
PROBES_S = (
    30 * MINUTE_S + 10 * MINUTE_S
)  # P6: three intervals; beds are looked at every ten minutes
OVER_S = 30 * MINUTE_S  # after the mend, by which an alarm that needs nobody is over
LAPSE_S = 90.0 + 45.0  # after this no lease of before holds a valve
CONTROL_L, DOSE_L = 5.0, 10.0
SOAKED_FRAC = -0.02  # depletion below which a bed was given more than it lacked

Deed = Callable[[StoredLife, str], None]
Row = tuple[str, str, str | None, float, float]  # dose, bed, outcome, charged [L], open [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """One thing that dies.

    Attributes:
        id: what.
        breaks: the deed.
        alarm: its code; None where the hazard's row asks for none.
        within_s: from the break [s].
        after_s: from the dose's opening to the break; negative: it breaks before the order [s].
        lasts_s: until somebody mends it [s].
        dry_after_s: from then on nothing flows until the mend, although somebody orders [s].
        person: the alarm stands until a person lifts it.
        water: the alarm ends with the next water that comes.
        drinks: the bed; the driest where none is named.
        asks: somebody orders another dose half an hour after the break.
        mends: what somebody does beside mending all.
    """

    id: str
    breaks: Deed
    alarm: str | None = None
    within_s: float = ALARM_S
    after_s: float = MINUTE_S
    lasts_s: float = HOUR_S
    dry_after_s: float = math.inf
    person: bool = False
    water: bool = False
    drinks: str = ""
    asks: bool = True
    mends: Deed | None = None


def _breaks(kind: Kind, what: What, *names: str, value: float = 0.0) -> Deed:
    """Break something of that name, or of the bed that drinks."""

    def do(life: StoredLife, bed: str) -> None:
        for name in names or (bed,):
            life.break_it(Fault(start_s=0.0, kind=kind, name=name, what=what, value=value), DAY_S)

    return do


def _and_another_dose(deed: Deed) -> Deed:
    """The same, and somebody orders for the next bed."""

    def do(life: StoredLife, bed: str) -> None:
        deed(life, bed)
        _order(life, BEDS[BEDS.index(bed) - 1], DOSE_L)

    return do


def _act(what: Callable[..., None], *told: Any) -> Deed:
    return lambda life, bed: what(life, *told)


def _order(life: StoredLife, bed: str, litres: float) -> None:
    acts.order(life, "water", {"bed": bed, "litres": litres})


def _another(life: StoredLife, bed: str) -> None:
    del bed
    life.feed(ForeignController(**life.times(), epoch=life.engine.state.epoch + 1))


def _contract(life: StoredLife, bed: str) -> None:
    acts.contract(life, bed)
    life.tell(bed)


V, P, M, S = Kind.VALVE, Kind.PROBE, Kind.METER, Kind.SUPPLY
TROUBLES: tuple[Trouble, ...] = (
    *(
        Trouble(
            id=f"P11 both probes of {bed} are silent",
            breaks=_breaks(P, What.SILENT, f"{bed}-20", f"{bed}-40"),
            alarm="bed_blind",
            within_s=PROBES_S,
            drinks=bed,
        )
        for bed in BEDS
    ),
    Trouble(id="P1 a probe's cable is cut", breaks=_breaks(P, What.DRY, "wall-20"),
            alarm="probe_suspect"),
    Trouble(id="V3 a valve's node is silent", breaks=_breaks(V, What.SILENT),
            alarm="valve_silent"),
    Trouble(id="V3 the master's node is silent", breaks=_breaks(V, What.SILENT, "master"),
            alarm="valve_silent"),
    Trouble(id="V5 a valve's node is deaf", breaks=_breaks(V, What.DEAF)),
    Trouble(id="V1 a valve sticks open", breaks=_breaks(V, What.STUCK_OPEN),
            alarm="valve_stuck_open", person=True),
    Trouble(id="V2 a valve sticks closed", breaks=_breaks(V, What.STUCK_CLOSED),
            alarm="valve_stuck_closed", after_s=-1.0),
    Trouble(id="V2 the master sticks closed",
            breaks=_and_another_dose(_breaks(V, What.STUCK_CLOSED, "master")),
            alarm="supply_lost", after_s=-1.0, dry_after_s=0.0, water=True),
    Trouble(id="V11 a node starts anew in its dose", breaks=_breaks(V, What.REBOOT)),
    Trouble(id="E5 all nodes start anew in a dose",
            breaks=_breaks(Kind.POWER, What.NODES_REBOOT, "")),
    Trouble(id="M3 the meter counts nothing", breaks=_breaks(M, What.FROZEN, "main")),
    Trouble(id="M3 the meter is silent", breaks=_breaks(M, What.SILENT, "main"),
            alarm="meter_fault"),
    Trouble(id="M3 the meter begins anew at nothing", breaks=_breaks(M, What.RESET, "main")),
    Trouble(id="M3 the meter jumps", breaks=_breaks(M, What.JUMP, "main", value=400.0),
            alarm="meter_fault"),
    Trouble(id="M1 a pipe bursts", breaks=_breaks(S, What.BURST, ""), alarm="burst",
            after_s=75.0, within_s=75.0, dry_after_s=LAPSE_S, person=True),
    Trouble(id="M2 a line leaks", breaks=_breaks(S, What.LEAK, "", value=0.5), alarm="leak",
            after_s=900.0, within_s=150.0, dry_after_s=LAPSE_S, person=True),
    Trouble(id="M6 no water comes", breaks=_and_another_dose(_breaks(S, What.LOST, "")),
            alarm="supply_lost", after_s=-1.0, dry_after_s=0.0, water=True),
    Trouble(id="B1 the broker is gone", breaks=_breaks(Kind.NETWORK, What.DOWN, ""),
            alarm="link_lost", within_s=2 * MINUTE_S, dry_after_s=LAPSE_S),
    Trouble(id="B3 the network holds all up", breaks=_act(acts.network, "stalled", DAY_S)),
    Trouble(id="T1 the clock is thrown ahead", breaks=_act(acts.wall, "forward", 25 * HOUR_S)),
    Trouble(id="T2 the clock falls back", breaks=_act(acts.wall, "back", -3 * DAY_S)),
    Trouble(id="S1 the disk is full", breaks=_and_another_dose(_act(StoredLife.set_record, "fail")),
            alarm="cannot_record"),
    Trouble(id="S5 the disk hangs", breaks=_and_another_dose(_act(StoredLife.set_record, "hold")),
            alarm="cannot_record"),
    Trouble(id="C1 the daemon is killed", breaks=_act(acts.restart, "kill", 300.0)),
    Trouble(id="C4 the power fails", breaks=_act(acts.restart, "tail", 900.0)),
    Trouble(id="C2 the daemon falls over again and again",
            breaks=_act(acts.crashes, 6, MINUTE_S), alarm="crash_loop", person=True),
    Trouble(id="E2 the mast is silent", breaks=_breaks(Kind.WEATHER, What.SILENT, "mast"),
            alarm="mast_silent", within_s=MAST_S, lasts_s=MAST_S + HOUR_S / 2),
    Trouble(id="E2 a frost", breaks=_act(acts.sky, -3.0, 0.0, DAY_S), alarm="frost",
            dry_after_s=ALARM_S + LAPSE_S),
    Trouble(id="E1 a storm", breaks=_act(acts.sky, 15.0, 8.0, DAY_S), dry_after_s=ALARM_S,
            asks=False),
    Trouble(id="a node of another contract", breaks=_contract, alarm="node_contract",
            person=True),
    Trouble(id="C7 another controller speaks", breaks=_another, alarm="other_controller",
            dry_after_s=LAPSE_S, person=True, mends=_act(acts.restart, "stop", 5.0)),
    Trouble(id="S4 the store is lost with its snapshot", breaks=_act(acts.restart, "lost", 60.0),
            alarm="history_lost", dry_after_s=LAPSE_S, person=True),
)  # fmt: skip


@pytest.fixture
def life(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[StoredLife]:
    """A garden with master, meter and mast, in July."""
    logging.disable(logging.CRITICAL)
    disk = Disk()
    monkeypatch.setattr(sqlite3, "connect", disk.connect())
    script = Script(
        seed=1, garden="all", start="july", span_s=DAYS * DAY_S, tick_s=5.0, theme="", steps=()
    )
    found = StoredLife(script, tmp_path / "plot", disk)
    found.start()
    yield found
    found.record.drop()
    logging.disable(logging.NOTSET)


def given_l(life: StoredLife, bed: str | None = None) -> float:
    """What truly flowed on leases [L]."""
    pieces = life.water.by_dose.values()
    return math.fsum(p.litres for p in pieces if bed is None or p.bed == bed)


def do(life: StoredLife, deed: Callable[..., None], *told: Any) -> None:
    """Do something now, on the life's own agenda."""
    life.at(life.now_s, deed, life, *told)
    life.live(life.now_s)


def opens(life: StoredLife, bed: str, litres: float) -> None:
    """Somebody orders water, and it comes; once a week the master valve is proved first."""
    do(life, _order, bed, litres)
    waits = {("refused", "proving")}
    while life.oracle.answers[-1][1:] in waits:
        waits.add(("refused", "resting"))  # the proof's own bed rests ten minutes after it
        life.live(life.now_s + 5 * MINUTE_S)
        do(life, _order, bed, litres)
    for _ in range(60):
        if life.water.taps[bed].opened_s is not None:
            return
        life.live(life.now_s + 5.0)
    raise AssertionError(f"{bed} was not opened: {life.oracle.answers[-1]}")


def driest(life: StoredLife) -> str:
    """The bed with the most room."""
    return max(BEDS, key=lambda bed: life.depletion[bed])


def stands(life: StoredLife, code: str) -> bool:
    """Whether an alarm of that code is up."""
    return any(alert.code == code for alert in life.engine.state.alerts.values())


class Books:
    """Every opening that the database told of, over all its lives."""

    def __init__(self, life: StoredLife) -> None:
        self.life = life
        self.rows: dict[str, Row] = {}
        self.cut: set[str] = set()  # under way when the database was lost: charged, without an end
        lose = life.record.lose

        def keep_and_lose() -> None:
            self.look()
            self.cut = {dose for dose, row in self.rows.items() if row[2] is None}
            lose()

        life.record.lose = keep_and_lose  # type: ignore[method-assign]

    def look(self) -> None:
        """Take in what the database says now."""
        for row in self.life.rows():
            self.rows[row[0]] = row

    def last_day_l(self, bed: str | None = None) -> float:
        """What truly flowed on leases in the last 24 h [L]."""
        water = self.life.water
        beds = BEDS if bed is None else (bed,)
        return math.fsum(water.litres_of_last_day(one) for one in beds)


def the_control_comes(life: StoredLife, books: Books) -> None:
    """Between troubles a dose comes as ordered, and its books are those of the node."""
    bed = driest(life)
    opens(life, bed, CONTROL_L)
    dose = life.water.taps[bed].dose
    life.live(life.now_s + 20 * MINUTE_S)
    books.look()
    truly, (_, _, outcome, charged_l, open_s) = life.water.by_dose[dose], books.rows[dose]
    assert outcome == "CONFIRMED"
    assert truly.litres == pytest.approx(CONTROL_L, abs=0.4)
    assert truly.litres <= charged_l
    assert truly.open_s <= open_s + 1e-6
    assert open_s == pytest.approx(truly.open_s, abs=5.0)  # the engine's pace


def breaks_and_calls(life: StoredLife, one: Trouble) -> float | None:
    """It breaks in a dose; when the alarm came [s]; nothing flows where nothing may."""
    bed = one.drinks or driest(life)
    if one.after_s >= 0.0:
        opens(life, bed, DOSE_L)
        life.live(life.now_s + one.after_s)
    broke_s, told = life.now_s, len(life.oracle.alarms)
    do(life, one.breaks, bed)
    life.tick_due_s = life.now_s  # a garden at rest would stride to the next ten minutes
    if one.after_s < 0.0:
        do(life, _order, bed, DOSE_L)
    life.live(broke_s + min(one.dry_after_s, 0.5 * HOUR_S))
    before_l = given_l(life)
    life.live(broke_s + 0.5 * HOUR_S)
    if one.asks:
        do(life, _order, driest(life), DOSE_L)
    life.live(broke_s + one.lasts_s)
    if math.isfinite(one.dry_after_s):
        assert given_l(life) == before_l, f"{given_l(life) - before_l:.1f} L flowed"
    if one.alarm is None:
        return None
    came = [at_s - broke_s for at_s, code in life.oracle.alarms[told:] if code == one.alarm]
    assert came, f"never called: {life.oracle.alarms[told:]}"
    assert came[0] <= one.within_s, f"called after {came[0]:.0f} s"
    return came[0]


def is_mended(life: StoredLife, one: Trouble) -> None:
    """What mends itself is over; what asks for a person stands until there is one."""
    do(life, StoredLife.mend_all)
    if one.mends is not None:
        do(life, one.mends, "")
    life.live(life.now_s + OVER_S)
    if one.alarm is not None and one.mends is None and not one.water:
        assert stands(life, one.alarm) == one.person, f"{one.alarm} after the mend"
    do(life, acts.look_after)
    life.live(life.now_s + OVER_S)


@pytest.mark.slow
def test_ten_days_of_everything_dying_in_turn(life: StoredLife) -> None:
    """Every alarm in time and over after the mend, no bed too wet, and the books are true."""
    books, told = Books(life), []
    for one in TROUBLES:
        begin_s = life.now_s
        try:
            life.live(begin_s + HOUR_S)
            the_control_comes(life, books)
            called_s = breaks_and_calls(life, one)
            is_mended(life, one)
            life.live(begin_s + SLOT_S)
            assert_calm(life, one, books)
        except AssertionError as exc:
            raise AssertionError(f"{one.id}, day {begin_s / DAY_S:.1f}: {exc}") from exc
        called = "-" if called_s is None else f"{called_s:.0f} s"
        told.append(f"{one.id}: {one.alarm or 'no alarm asked'} {called}")
    life.live(DAYS * DAY_S)
    assert life.record.refused > 0  # the disk was truly full
    assert len(books.cut) == 1  # and one dose was under way when the store was lost
    assert_books(life, books, told)


def assert_calm(life: StoredLife, one: Trouble, books: Books) -> None:
    """After each trouble: nothing stands, nobody caught up, no cap was passed."""
    books.look()
    left = [alert.code for alert in life.engine.state.alerts.values()]
    assert one.alarm not in left or one.water, f"{left} stand after somebody looked"
    if "storm" not in one.id:
        assert min(life.depletion.values()) >= SOAKED_FRAC, f"too wet: {life.depletion}"
    if life.now_s - life.oracle.vouched_s <= DAY_S:
        return  # somebody vouched for the day's water of a store that is lost: its caps begin anew
    for bed in BEDS:
        assert books.last_day_l(bed) <= CAPS["bed_l_day"]
    assert books.last_day_l() <= CAPS["site_l_day"]


def assert_books(life: StoredLife, books: Books, told: list[str]) -> None:
    """The ledger against the nodes' truth, dose by dose and in all."""
    books.look()
    truth = life.water.by_dose
    assert set(truth) <= set(books.rows), "an opening that no row knows"
    for dose, bed, outcome, charged_l, open_s in books.rows.values():
        assert (outcome is None) == (dose in books.cut), f"{dose} has no end"
        if dose not in truth:
            continue
        assert truth[dose].bed == bed
        assert truth[dose].litres <= charged_l + 1e-6, dose
        assert truth[dose].open_s <= open_s + 1e-6, dose
    sure = {row[0]: row[3] for row in books.rows.values() if row[2] == "CONFIRMED"}
    sure_l = math.fsum(truth[dose].litres for dose in sure if dose in truth)
    charged_l = math.fsum(sure.values())
    by_policy = {
        bed: math.fsum(
            piece.litres
            for dose, piece in truth.items()
            if piece.bed == bed and life.oracle.intents[dose].by == "policy"
        )
        for bed in BEDS
    }
    for line in told:
        tell(line)
    tell(
        f"{life.now_s / DAY_S:.1f} days, {len(truth)} openings, {given_l(life):.0f} L on leases, "
        f"{math.fsum(row[3] for row in books.rows.values()):.0f} L charged; confirmed: "
        f"{sure_l:.0f} L, charged {charged_l:.0f} L; by the policy "
        + ", ".join(f"{bed} {litres:.0f} L" for bed, litres in by_policy.items())
    )
    assert min(by_policy.values()) > 50.0  # the control: every bed was watered by itself, too
    assert sure_l <= charged_l <= 1.25 * sure_l
