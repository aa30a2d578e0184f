"""One fault over the wire: a garden in processes of its own, watered before, hurt, mended, watered.

The control stands in every run: water flows before the fault and again after it, so that a build
that never waters fails. What is judged is the nodes' own timeline (the truth file: node clock, true
valve state, true litres, last accepted lease), the stable ledger view and what the page says.
Nothing here waits for a fixed time where a condition can be waited for. Lateness may be the
machine's: such a run is lived again with a slower clock; a breach of safety (`UnsafeError`) is not.
"""

from __future__ import annotations

import subprocess
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Self

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import FORENOON, LEASE_S, LiveGarden, until
from tests.end_to_end.proxy import Proxy

FAST, SLOW = 60.0, 15.0  # garden seconds in a real one; the slow one where the machine is late
BEDS = ["south", "wall", "low", "hedge"]
VALVES = [*BEDS, "master"]
GRACE_S = 15.0  # [s] garden time: a quarter of a real second
HELD_S = 45.0  # [s] what a nonce lives: so late a lease held up may still open
PATIENCE_S = 60.0  # [s] real: how long a condition is waited for on a loaded machine
UNROUNDED_S = 0.01  # [s] the truth file rounds its instants
REFUSED, UNRECORDED = 409, 503
CEILING_S = 5700.0
PASSING = {"busy", "resting", "link_lost", "quiet_start"}  # refusals that end by themselves
QUARTER_HOUR_S = 900.0

Deed = Callable[["Rig"], None]


class UnsafeError(AssertionError):
    """Water where none may be, or books that say less than flowed: no load excuses it."""


def safe(holds: object, *about: object) -> None:
    """Hold that it is so."""
    if not holds:
        raise UnsafeError(*about)


def nothing(rig: Rig) -> None:
    """What needs no mending."""
    del rig


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """An alert that has to stand, and how soon after the fault [s garden time].

    `within_s` is None where it has to stand as soon as a restarted daemon serves its page.
    """

    code: str
    within_s: float | None = QUARTER_HOUR_S
    ends: bool = True  # by itself, once mended


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One thing that breaks while water runs.

    Attributes:
        hazards: rows of the hazard analysis that it is about.
        before: what is done to the sound garden before its first water.
        breaks: what is done to the garden while water runs.
        mends: what undoes it.
        over_s: water may flow for so long after the break [s garden time]; None: it flows on.
        alarm: what has to be said; None: nothing that lasts.
        order: what an order for another bed is answered while it lasts; None: not asked.
        lasts_s: at least so long it stays broken [s garden time].
        vouch: a person has to vouch for the lost history before water flows again.
        sim: when the garden's clock begins.
        nodes_sim: what the nodes' clock says at that moment, where they differ.
        speed: garden seconds in a real one, where the break itself takes long.
        small_disk: the data folder lies on a small file system of its own, where that may be had.
    """

    id: str
    hazards: tuple[str, ...]
    breaks: Deed
    before: Deed = nothing
    mends: Deed = nothing
    over_s: float | None = LEASE_S
    alarm: Alarm | None = None
    order: int | None = None
    lasts_s: float = 0.0
    vouch: bool = False
    sim: datetime = FORENOON
    nodes_sim: datetime | None = None
    small_disk: bool = False
    speed: float = FAST


@dataclass(slots=True)
class Rig:
    """All that a scenario can lay hands on."""

    broker: Mosquitto
    daemon_way: Proxy
    nodes_way: Proxy
    garden: LiveGarden
    folder: Path
    ends: ExitStack
    notes: dict[str, Any] = field(default_factory=dict)  # what a break leaves for its mending

    @classmethod
    def build(cls, scenario: Scenario, folder: Path, ends: ExitStack, speed: float = FAST) -> Self:
        """Broker, two ways to it, virtual nodes with dryish beds, and a daemon that is ready."""
        folder.mkdir()
        broker = Mosquitto(folder)
        ends.callback(broker.stop)
        broker.start()
        daemon_way = ends.enter_context(Proxy(broker.port))
        nodes_way = ends.enter_context(Proxy(broker.port))
        garden = LiveGarden(
            folder / "plot",
            daemon_way.url,
            speed=speed,
            sim=scenario.sim,
            nodes_url=nodes_way.url,
            nodes_sim=scenario.nodes_sim,
        )
        ends.callback(garden.close)
        rig = cls(broker, daemon_way, nodes_way, garden, folder, ends)
        if scenario.small_disk:
            garden.data = small_disk(folder / "disk", ends)
        garden.start_bench(*(f"--depletion={bed}=0.25" for bed in BEDS))
        garden.start_daemon(wait=False)
        rig.ready()
        return rig

    def ready(self) -> None:
        """Wait until the quiet start is over."""
        self.wait(lambda: self._asked("ready") and self._asked("link_up"), "a ready daemon")

    def _asked(self, what: str) -> bool:
        try:
            return bool(self.garden.get()[what])
        except OSError:
            return False

    def wait(self, true: Callable[[], object], what: str) -> None:
        until(true, PATIENCE_S, f"{what}; {self.garden.log()[-2000:]}")

    def nodes_utc_s(self) -> float:
        """The nodes' own time now, which the truth file is written in."""
        return self.garden.nodes_clock.now_utc_s()

    def flows(self, bed: str, litres: float) -> None:
        """Order water and wait until it truly runs: the control of every scenario."""
        status, said = self.garden.water(bed, litres)
        assert status == 202, (bed, said)
        self.wait(lambda: self.garden.truth().openings(bed), f"water in {bed}")

    def shut(self) -> bool:
        """Whether no valve is truly open."""
        truth = self.garden.truth()
        return not any(truth.open_now(valve) for valve in VALVES)

    def alert(self, code: str) -> dict[str, Any] | None:
        try:
            standing = self.garden.get()["alerts"]
        except OSError:
            return None
        found: list[dict[str, Any]] = [alert for alert in standing if alert["code"] == code]
        return found[0] if found else None


def small_disk(place: Path, ends: ExitStack) -> Path:
    """A file system of 24 MiB where one may be mounted, else a plain folder."""
    place.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", str(place)],
        capture_output=True,
        check=False,
    )
    if done.returncode == 0:
        ends.callback(subprocess.run, ["umount", "-l", str(place)], check=False)
    return place / "data"


def live(scenario: Scenario, rig: Rig) -> None:
    """Water, break, judge, mend, water again, judge the whole timeline."""
    scenario.before(rig)
    rig.flows("south", 60.0)
    began_s = time.monotonic()
    scenario.breaks(rig)
    broken_utc_s, there_utc_s = rig.garden.clock.now_utc_s(), rig.nodes_utc_s()
    if scenario.over_s is None:
        _flows_on(rig)
    else:
        rig.wait(rig.shut, "shut valves")
        _stopped_in_time(rig, scenario, there_utc_s)
    shut_utc_s = rig.nodes_utc_s()
    if scenario.order == UNRECORDED:  # the disk is only asked when something is to be written
        rig.wait(lambda: rig.garden.water("wall", 6.0)[0] == UNRECORDED, "a refused order")
    _alarmed(rig, scenario, broken_utc_s)
    if scenario.order == REFUSED:
        status, said = rig.garden.water("wall", 6.0)
        assert status == REFUSED, said
    lasts_s = scenario.lasts_s / rig.garden.clock.speed
    rig.wait(lambda: time.monotonic() - began_s >= lasts_s, "the fault's while")
    opened = rig.garden.truth().opened_since(VALVES, shut_utc_s)
    safe(scenario.over_s is None or opened == [], opened)
    scenario.mends(rig)
    rig.ready()
    if scenario.vouch:
        _vouched(rig)
    if scenario.alarm is not None and scenario.alarm.ends:
        rig.wait(lambda: rig.alert(scenario.alarm.code) is None, "the alarm's end")
    opened = rig.garden.truth().opened_since(VALVES, shut_utc_s)
    safe(scenario.over_s is None or opened == [], "it resumed by itself", opened)
    if scenario.over_s is None:  # it need not run to its end
        assert rig.garden.post("/api/beds/south/stop", {})[0] == 200
    _waters_again(rig)
    assert rig.garden.end_daemon() == 0
    judge(rig)


def _flows_on(rig: Rig) -> None:
    """The dose does not care: its lease is renewed three times more."""
    leased = {line["leased_s"] for line in rig.garden.truth().lines("south")}

    def renewed() -> bool:
        lines = rig.garden.truth().lines("south")
        return len({line["leased_s"] for line in lines} - leased) >= 3 and lines[-1]["open"]

    rig.wait(renewed, "renewals that go on")


def _stopped_in_time(rig: Rig, scenario: Scenario, broken_utc_s: float) -> None:
    """No valve stood open for longer after the break than it may."""
    truth = rig.garden.truth()
    for valve in VALVES:
        for opening in truth.openings(valve):
            over_s = (opening.to_utc_s or 0.0) - broken_utc_s
            safe(over_s <= (scenario.over_s or 0.0) + _late_s(valve), valve, over_s)


def _late_s(valve: str) -> float:
    """A master's last lease may be as young as the bed's, and it closes 30 s after it."""
    return GRACE_S + (30.0 if valve == "master" else 0.0)


def _alarmed(rig: Rig, scenario: Scenario, broken_utc_s: float) -> None:
    alarm = scenario.alarm
    if alarm is None:
        return
    if alarm.within_s is None:
        assert rig.alert(alarm.code) is not None, alarm
        return
    rig.wait(lambda: rig.alert(alarm.code) is not None, f"the alarm {alarm.code}")
    alert = rig.alert(alarm.code) or {}
    since_s = datetime.fromisoformat(alert["since"]).timestamp() - broken_utc_s
    assert since_s <= alarm.within_s + GRACE_S, (alarm, since_s)


def _vouched(rig: Rig) -> None:
    """Nothing is given until a person vouches, and then it is."""
    status, said = rig.garden.water("hedge", 6.0)
    assert (status, said["reason"]) == (409, "budget_spent"), said
    alert = rig.alert("history_lost")
    assert alert is not None
    assert alert["person_needed"]
    status, said = rig.garden.post(f"/api/alerts/{alert['id']}/clear", {"why": "I saw the meter"})
    assert status == 200, said


def _waters_again(rig: Rig) -> None:
    """The control at the end: another bed drinks to the litre, and its books say so."""
    rig.wait(lambda: _drinks(rig, "hedge", 6.0), f"water in hedge; {rig.notes.get('said')}")
    rig.wait(lambda: _outcome(rig, "hedge") is not None, "the end of the dose")
    assert _outcome(rig, "hedge") == "CONFIRMED"
    rig.wait(rig.shut, "a closed master")
    assert 5.0 <= rig.garden.truth().litres("hedge") <= 8.0


def _drinks(rig: Rig, bed: str, litres: float) -> bool:
    """Order until water truly flows: nodes that are not back yet, or a rest, may come before."""
    if rig.garden.truth().openings(bed):
        return True
    if rig.garden.get()["beds"][bed]["watering"] is None:
        status, rig.notes["said"] = rig.garden.water(bed, litres)
        refused = (rig.notes["said"], rig.garden.get()["alerts"], rig.garden.log()[-2000:])
        assert status == 202 or rig.notes["said"]["reason"] in PASSING, refused
    return False


def _outcome(rig: Rig, bed: str) -> str | None:
    rows = [row for row in rig.garden.ledger() if row["bed"] == bed]
    return rows[-1]["outcome"] if rows else None


def judge(rig: Rig) -> None:
    """What holds whatever broke: lease, ceiling, caps, books, and a record that can be re-fed."""
    truth = rig.garden.truth()
    for valve in VALVES:
        for line in truth.lines(valve):
            if line["open"]:
                safe(line["node_s"] - line["leased_s"] <= LEASE_S + UNROUNDED_S, line)
        safe(all(one.seconds <= CEILING_S for one in truth.openings(valve)), valve)
    _books_balance(rig)
    verified = rig.garden.command("verify", "--data", str(rig.garden.data))
    assert verified.returncode == 0, verified.stdout + verified.stderr


def _books_balance(rig: Rig) -> None:
    """Every opening has one end, and ledger >= truth; lost books are judged by what is left."""
    rows, truth = rig.garden.ledger(), rig.garden.truth()
    safe({row["outcome"] for row in rows} <= {"CONFIRMED", "ASSUMED_FULL", "NEVER_SENT"}, rows)
    forgotten = rig.notes.get("forgotten", [])  # beds whose rows went with the database
    for bed in (bed for bed in BEDS if bed not in forgotten):
        own = [row for row in rows if row["bed"] == bed]
        safe(sum(row["charged_l"] for row in own) >= truth.litres(bed) - 1e-3, bed, own)
        safe(sum(row["open_s"] for row in own) >= truth.open_s(bed) - 1e-3, bed, own)
