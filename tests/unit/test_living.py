"""Crash loops, stumbles, the book of runs, and a watchdog that only the engine's loop feeds."""

from __future__ import annotations

import socket
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from api.notify import notify
from controller.clock import ScaledClock
from controller.daemon import Daemon
from controller.datafolder import DataFolder
from controller.effects import Answer, Close
from controller.engine import Engine
from controller.events import (
    LedgerEntry,
    LinkDown,
    LinkUp,
    MeterReading,
    Order,
    OrderKind,
    Started,
    Stumbled,
    Tick,
    ValveReport,
)
from controller.garden import Garden
from controller.living import crashes
from controller.living.runs import RunBook
from controller.restoring import restored
from controller.store import Recovered
from controller.store_reads import Snapshot
from controller.trusted import ClockStamp
from tests.engine_bench import Bench
from tests.engine_garden import QUIET_S, START_UTC_S, small_garden

BEDS = ("south", "north")


def started(**told: Any) -> Started:
    return Started(
        **{"at_utc_s": START_UTC_S, "mono_s": 0.0, "trusted_s": 0.0, "stored_epoch": 0, **told}
    )


def cut_in(bed: str) -> LedgerEntry:
    """An opening that the last run left without an end: its water may last into this one."""
    return LedgerEntry(dose=f"1-{bed}", bed=bed, charged_l=5.0, ended_trusted_s=140.0)


def lives_through(
    engine: Engine, *, crashed: bool, bed: str | None = "south", starts: int = 1
) -> None:
    entries = () if bed is None else (cut_in(bed),)
    engine.step(started(crashed=crashed, starts_lately=starts, ledger=entries))


def ready(engine: Engine) -> None:
    """A link, word of every valve, and the end of the quiet start."""
    engine.step(LinkUp(at_utc_s=START_UTC_S, mono_s=0.0))
    for valve in engine.state.valves:
        engine.step(
            ValveReport(
                at_utc_s=START_UTC_S, mono_s=0.0, valve=valve, open=False, left_s=0.0, dose="",
                boot="b", epoch=0, seq=0, contract=1,
            )
        )  # fmt: skip
    engine.step(Tick(at_utc_s=START_UTC_S + QUIET_S, mono_s=QUIET_S))


def water(engine: Engine, bed: str, at_s: float = 1000.0) -> Answer | None:
    """An order: its refusal, or nothing where it waits for the record as a sound one does."""
    effects = engine.step(
        Order(
            at_utc_s=START_UTC_S + at_s, mono_s=at_s, order=f"o{at_s}", what=OrderKind.WATER,
            who="me", bed=bed, litres=5.0,
        )
    )  # fmt: skip
    return next((effect for effect in effects if isinstance(effect, Answer)), None)


@pytest.mark.hazard("C2")
def test_three_crashes_in_a_beds_doses_quarantine_that_bed_and_no_other() -> None:
    engine = Engine(small_garden(beds=BEDS))
    for count in range(3):
        assert "crash_loop-south" not in engine.state.alerts, count
        lives_through(engine, crashed=True)
    assert engine.state.alerts["crash_loop-south"].person_needed
    ready(engine)
    refused = water(engine, "south")
    assert refused is not None
    assert refused.reason == "valve_latched"
    assert water(engine, "north") is None  # on its way to the record


@pytest.mark.hazard("C2")
def test_ends_that_were_none_of_a_crash_or_none_in_a_dose_quarantine_nothing() -> None:
    engine = Engine(small_garden(beds=BEDS))
    for _ in range(5):
        lives_through(engine, crashed=False)
        lives_through(engine, crashed=True, bed=None)
    assert not engine.state.alerts


@pytest.mark.hazard("C2")
def test_a_lifted_quarantine_counts_anew() -> None:
    engine = Engine(small_garden(beds=BEDS))
    for _ in range(3):
        lives_through(engine, crashed=True)
    ready(engine)
    engine.step(
        Order(
            at_utc_s=START_UTC_S + 900.0, mono_s=900.0, order="o", what=OrderKind.CLEAR, who="me",
            alert="crash_loop-south", why="a new board",
        )
    )  # fmt: skip
    assert water(engine, "south") is None
    lives_through(engine, crashed=True)
    assert "crash_loop-south" not in engine.state.alerts


@pytest.mark.hazard("C2")
def test_a_sound_dose_between_makes_crashes_begin_anew() -> None:
    bench = Bench(small_garden(beds=BEDS))
    memory = bench.engine.state.beds["south"]
    memory.crashes = 2
    bench.order("water", "north", litres=10.0)
    bench.live(1800.0)
    assert bench.litres["north"] > 9.0
    assert memory.crashes == 2
    bench.order("water", "south", litres=10.0)
    bench.live(1800.0)
    assert memory.crashes == 0


@pytest.mark.hazard("C2")
def test_five_starts_in_ten_minutes_look_on_for_an_hour() -> None:
    engine = Engine(small_garden(beds=BEDS))
    lives_through(engine, crashed=True, bed=None, starts=4)
    assert not engine.state.alerts
    lives_through(engine, crashed=True, bed=None, starts=5)
    ready(engine)
    for bed in BEDS:
        refused = water(engine, bed)
        assert refused is not None
        assert refused.reason == "valve_latched"
    assert not engine.state.alerts["crash_loop"].person_needed
    engine.step(Tick(at_utc_s=START_UTC_S + 3590.0, mono_s=3590.0))
    assert "crash_loop" in engine.state.alerts
    engine.step(Tick(at_utc_s=START_UTC_S + 7210.0, mono_s=7210.0))
    assert "crash_loop" not in engine.state.alerts
    assert water(engine, "south", 7220.0) is None


def stumble(engine: Engine, at_s: float) -> list[Any]:
    return engine.step(Stumbled(at_utc_s=START_UTC_S + at_s, mono_s=at_s, over="Tick"))


def test_one_stumble_is_told_three_in_ten_minutes_make_it_look_on() -> None:
    engine = Engine(small_garden(beds=BEDS))
    engine.step(started())
    ready(engine)
    stumble(engine, 300.0)
    stumble(engine, 800.0)
    stumble(engine, 1000.0)  # the first is more than ten minutes ago
    assert set(engine.state.alerts) == {"stumbled"}
    effects = stumble(engine, 1100.0)
    assert set(engine.state.alerts) == {"stumbled", "crash_loop"}
    assert {e.valve for e in effects if isinstance(e, Close)} == set(BEDS)
    assert water(engine, "south", 1200.0) is not None
    engine.step(Tick(at_utc_s=START_UTC_S + 7300.0, mono_s=7300.0))
    assert not {"stumbled", "crash_loop"} & set(engine.state.alerts)


@pytest.mark.hazard("V3")
@pytest.mark.parametrize("mute", ["south", "master"])
def test_a_node_that_falls_silent_in_a_dose_ends_it_and_back_again_does_not_resume(
    mute: str,
) -> None:
    bench = Bench(small_garden(beds=BEDS, master=True))
    bench.order("water", "south", litres=60.0)
    bench.live(200.0)
    assert bench.open_beds() == ["south"]
    bench.mute.add(mute)
    bench.live(90.0)
    assert "valve_silent" in bench.alert_codes()
    bench.live(300.0)
    assert bench.open_beds() == []
    given_l = bench.litres["south"]
    bench.mute.clear()
    bench.live(1800.0)
    assert bench.litres["south"] == given_l > 0.0
    assert "valve_silent" not in bench.alert_codes()


# -- the book of runs


def stamp(mono_s: float, boot: str = "b1", *, synced: bool = False) -> ClockStamp:
    return ClockStamp(
        boot_id=boot, mono_s=mono_s, utc_s=START_UTC_S + mono_s, synced=synced, trusted_s=0.0
    )


def test_crashes_add_up_within_ten_minutes_and_a_good_end_begins_anew(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path)
    lately = [RunBook(folder).begin(stamp(100.0 * n), scaled=False) for n in range(8)]
    assert [one.starts for one in lately] == [1, 2, 3, 4, 5, 6, 7, 7]
    assert [one.crashed for one in lately] == [False, *[True] * 7]
    book = RunBook(folder)
    book.begin(stamp(800.0), scaled=False)
    book.end()
    after = RunBook(folder).begin(stamp(801.0), scaled=False)
    assert (after.crashed, after.starts) == (False, 1)


def test_a_run_that_lived_ten_minutes_is_no_part_of_a_loop_whatever_the_clocks_say(
    tmp_path: Path,
) -> None:
    folder = DataFolder(tmp_path)
    for n in range(8):  # power cuts, and no clock that anybody set
        book = RunBook(folder)
        lately = book.begin(stamp(5.0, f"boot{n}"), scaled=False)
        assert lately.starts == 1
        assert lately.crashed == (n > 0)
        book.lived()


@pytest.mark.hazard("C5")
def test_ten_boots_without_a_set_clock_count_as_a_loop(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path)
    lately = [RunBook(folder).begin(stamp(5.0, f"b{n}"), scaled=False) for n in range(10)]
    assert lately[-1].starts == 10


@pytest.mark.parametrize("text", ["", "{", "[]", '{"ended_well": 1}', "\u00e9"])
def test_a_book_that_cannot_be_read_begins_anew(tmp_path: Path, text: str) -> None:
    (tmp_path / "runs.json").write_text(text, encoding="utf-8")
    lately = RunBook(DataFolder(tmp_path)).begin(stamp(0.0), scaled=False)
    assert (lately.crashed, lately.starts) == (False, 1)


# -- a bad row


def test_a_row_that_cannot_be_fed_again_does_not_keep_the_page_down(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def falls(run: object, event: Stumbled) -> None:
        raise RuntimeError(event.over)

    monkeypatch.setattr("controller.engine.HANDLERS", {Stumbled: falls})
    events = [
        started(),
        Stumbled(at_utc_s=START_UTC_S, mono_s=1.0, over="Tick"),
        Tick(at_utc_s=START_UTC_S + QUIET_S, mono_s=QUIET_S),
    ]
    known = Recovered(
        history="kept", stored_epoch=0, stored_seq=0, ledger=(), trusted_s=0.0,
        snapshot=Snapshot(), events=iter(events),
    )  # fmt: skip
    assert restored(small_garden(), known)[0].state.ready


# -- the watchdog


def lonely_garden() -> Garden:
    """One whose broker is nowhere: the link is known to be down, which starves nobody."""
    told = small_garden().model_dump(mode="json")
    told["broker"]["url"] = "mqtt://127.0.0.1:9"
    return Garden.model_validate(told)


@pytest.mark.hazard("C3")
def test_the_watchdog_is_fed_by_the_engines_loop_and_starved_when_that_hangs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("controller.daemon.FEED_S", 0.02)
    fed = threading.Semaphore(0)
    daemon = Daemon(lonely_garden(), DataFolder(tmp_path), ScaledClock(60.0))
    daemon.alive = fed.release
    daemon.start()
    try:
        assert all(fed.acquire(timeout=30.0) for _ in range(5))
        with daemon._engine_lock:  # a step that does not end
            time.sleep(0.2)
            while fed.acquire(blocking=False):
                pass
            assert not fed.acquire(timeout=1.0)
        assert fed.acquire(timeout=30.0)
        monkeypatch.setattr(daemon._link, "is_working", lambda: False)
        time.sleep(0.2)
        while fed.acquire(blocking=False):
            pass
        assert not fed.acquire(timeout=0.5)
        monkeypatch.undo()
    finally:
        daemon.stop()


def test_a_stumble_in_the_engines_thread_reaches_the_alerts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    daemon = Daemon(lonely_garden(), DataFolder(tmp_path), ScaledClock(60.0))
    sound = Engine.step

    def falls(self: Engine, event: Any) -> Any:
        if event.kind == "link_up":
            raise ValueError(event.kind)
        return sound(self, event)

    monkeypatch.setattr(Engine, "step", falls)
    daemon.start()
    try:
        daemon.deliver(LinkUp(at_utc_s=daemon.clock.utc_s(), mono_s=daemon.clock.mono_s()))
        end_s = time.monotonic() + 30.0
        while "stumbled" not in daemon._engine.state.alerts and time.monotonic() < end_s:
            time.sleep(0.01)
        assert "stumbled" in daemon._engine.state.alerts
    finally:
        daemon.stop()


def test_words_to_the_service_manager_go_to_its_socket_and_nowhere_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(10.0)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        notify("WATCHDOG=1")
        assert manager.recv(64) == b"WATCHDOG=1"
    for nowhere in ("", "relative", str(tmp_path / "gone"), "@no-such-name"):
        monkeypatch.setenv("NOTIFY_SOCKET", nowhere)
        notify("READY=1")  # nobody listens: nothing happens


def test_the_numbers_are_the_safety_standards() -> None:
    assert (crashes.CRASHES_IN_DOSE, crashes.STARTS_MOST, crashes.WITHIN_S) == (3, 5, 600.0)


@pytest.mark.hazard("B1")
def test_a_meters_word_before_the_link_is_up_again_is_no_leak() -> None:
    """Found over the wire: the rest of a cut dose was told between reconnection and canary."""
    bench = Bench(small_garden(beds=BEDS, master=True, meter=True))
    bench.order("water", "south", litres=60.0)
    bench.live(200.0)
    assert bench.open_beds() == ["south"]
    told = bench.engine.state.meter
    assert told.litres_total is not None
    bench.step(LinkDown(**bench.times()))
    later = {key: value + 600.0 for key, value in bench.times().items()}
    word = MeterReading(
        **later, meter="main", litres_total=told.litres_total + 2.0, up_s=told.up_s + 600.0,
        boot=told.boot or "",
    )  # fmt: skip
    bench.step(word)
    assert "leak" not in bench.alert_codes()
    bench.step(LinkUp(**later))
    assert "leak" not in bench.alert_codes()
