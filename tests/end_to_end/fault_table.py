"""The table of what breaks over the wire: one row each, nothing but data and small deeds."""

from __future__ import annotations

import shutil
import signal
import sqlite3
import subprocess
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from tests.end_to_end.fault_bench import HELD_S, Alarm, Deed, Rig, Scenario, nothing
from tests.end_to_end.live_garden import FORENOON, LEASE_S, free_port

LINK = Alarm(code="link_lost", within_s=120.0)
SILENT = Alarm(code="valve_silent")
RECORD = Alarm(code="cannot_record")
LOST = Alarm(code="history_lost", within_s=None, ends=False)
MINUTE_S = 60.0
DOSE_S = 30 * MINUTE_S  # a dose's length: the second daemon has to come up first, however slowly


# -- the ways


def _on(way: str, deed: str, *told: object) -> Deed:
    """Do something to one of the two proxies."""

    def do(rig: Rig) -> None:
        getattr(getattr(rig, way), deed)(*told)

    return do


def _slowed(way: str, garden_s: float, *directions: str) -> Deed:
    """Let what goes these ways come so much later [s garden time]."""

    def do(rig: Rig) -> None:
        getattr(rig, way).delay(garden_s / rig.garden.clock.speed, *directions)

    return do


def _mended(way: str) -> Deed:
    return _on(way, "mend")


WAYS = (
    Scenario(
        id="daemon-cut-once", hazards=("B1", "B6"), breaks=_on("daemon_way", "cut"), over_s=LEASE_S
    ),
    Scenario(
        id="daemon-refused",
        hazards=("B1", "B6"),
        breaks=_on("daemon_way", "refuse"),
        mends=_mended("daemon_way"),
        alarm=LINK,
        order=409,
        lasts_s=10 * MINUTE_S,
    ),
    Scenario(
        id="daemon-speaks-into-nothing",
        hazards=("B5",),
        breaks=_on("daemon_way", "swallow", "up"),
        mends=_mended("daemon_way"),
        alarm=LINK,
        order=409,
        lasts_s=5 * MINUTE_S,
    ),
    Scenario(
        id="daemon-hears-nothing",
        hazards=("B5",),
        breaks=_on("daemon_way", "swallow", "down"),
        mends=_mended("daemon_way"),
        over_s=HELD_S + LEASE_S,
        alarm=LINK,
        order=409,
        lasts_s=5 * MINUTE_S,
    ),
    Scenario(
        id="daemon-half-open",
        hazards=("B5", "V5"),
        breaks=_on("daemon_way", "swallow", "up", "down"),
        mends=_mended("daemon_way"),
        alarm=LINK,
        order=409,
        lasts_s=5 * MINUTE_S,
    ),
    Scenario(
        id="daemon-words-held-up-then-all-at-once",
        hazards=("V6", "B6"),
        breaks=_on("daemon_way", "hold", "up"),
        mends=_mended("daemon_way"),
        alarm=LINK,
        lasts_s=5 * MINUTE_S,
    ),
    Scenario(
        id="daemon-a-little-slow",
        hazards=("V7",),
        breaks=_slowed("daemon_way", 6.0, "up", "down"),
        mends=_mended("daemon_way"),
        over_s=None,
    ),
    Scenario(
        id="daemon-slower-than-any-nonce",
        hazards=("V6",),
        breaks=_slowed("daemon_way", 60.0, "up"),
        mends=_mended("daemon_way"),
        over_s=HELD_S + LEASE_S + 60.0,
        alarm=LINK,
        lasts_s=5 * MINUTE_S,
    ),
    Scenario(
        id="nodes-cut-and-refused",
        hazards=("V3", "V5"),
        breaks=_on("nodes_way", "refuse"),
        mends=_mended("nodes_way"),
        alarm=SILENT,
        lasts_s=5 * MINUTE_S,
    ),
    Scenario(
        id="nodes-not-heard",
        hazards=("V3",),
        breaks=_on("nodes_way", "swallow", "up"),
        mends=_mended("nodes_way"),
        over_s=HELD_S + LEASE_S,
        alarm=SILENT,
        lasts_s=5 * MINUTE_S,
    ),
    Scenario(
        id="nodes-hear-nothing",
        hazards=("V5",),
        breaks=_on("nodes_way", "swallow", "down"),
        mends=_mended("nodes_way"),
        alarm=None,
        lasts_s=5 * MINUTE_S,
    ),
    Scenario(
        id="nodes-a-little-slow",
        hazards=("V7",),
        breaks=_slowed("nodes_way", 6.0, "up", "down"),
        mends=_mended("nodes_way"),
        over_s=None,
    ),
)


# -- the broker


def _broker(deed: str) -> Deed:
    def do(rig: Rig) -> None:
        getattr(rig.broker, deed)()

    return do


def _restart_broker(deed: str) -> Deed:
    def do(rig: Rig) -> None:
        getattr(rig.broker, deed)()
        rig.broker.start()

    return do


BROKER = (
    Scenario(
        id="broker-killed",
        hazards=("B1",),
        breaks=_broker("kill"),
        mends=_broker("start"),
        alarm=LINK,
        order=409,
        lasts_s=10 * MINUTE_S,
    ),
    Scenario(
        id="broker-restarted-at-once", hazards=("B2",), breaks=_restart_broker("stop"),
        over_s=LEASE_S,
    ),
    Scenario(
        id="broker-frozen",
        hazards=("B3", "V6"),
        breaks=_broker("pause"),
        mends=_broker("resume"),
        over_s=HELD_S + LEASE_S,
        alarm=LINK,
        order=409,
        lasts_s=10 * MINUTE_S,
    ),
)  # fmt: skip


# -- the daemon


def _kill(rig: Rig) -> None:
    rig.garden.kill_daemon()


def _kill_and_start(rig: Rig) -> None:
    rig.garden.kill_daemon()
    rig.garden.start_daemon(wait=False)


def _end(rig: Rig) -> None:
    assert rig.garden.end_daemon() == 0


def _start(rig: Rig) -> None:
    rig.garden.start_daemon(wait=False)


def _freeze(rig: Rig) -> None:
    assert rig.garden.daemon is not None
    rig.garden.daemon.send_signal(signal.SIGSTOP)
    rig.ends.callback(_thaw, rig)


def _thaw(rig: Rig) -> None:
    if rig.garden.daemon is not None and rig.garden.daemon.poll() is None:
        rig.garden.daemon.send_signal(signal.SIGCONT)


def _second_here(rig: Rig) -> None:
    """Another daemon on the same folder is turned away."""
    done = rig.garden.command(
        *("run", str(rig.garden.garden_file), "--data", str(rig.garden.data)),
        *("--speed", f"{rig.garden.clock.speed:g}", "--port", "0"),
    )
    assert done.returncode == 1
    assert "holds this data folder" in done.stderr


def _second_elsewhere(client_id: str | None) -> Deed:
    """Start a copied card: the same garden, another folder, the same broker."""

    def do(rig: Rig) -> None:
        text = rig.garden.garden_file.read_text(encoding="utf-8")
        if client_id is not None:
            text = text.replace("[broker]", f'[broker]\nclient_id = "{client_id}"')
        copied = rig.folder / "copied.toml"
        copied.write_text(text, encoding="utf-8")
        other = rig.garden.beside(copied, rig.folder / "copied")
        rig.notes["other"] = other
        rig.ends.callback(other.close)
        other.start_daemon(wait=False)
        other.wait_page()

    return do


def _stop_other(rig: Rig) -> None:
    """A person stops one of the two and restarts the other."""
    rig.notes["other"].end_daemon()
    rig.garden.end_daemon()
    rig.garden.start_daemon(wait=False)


DAEMON = (
    Scenario(
        id="daemon-killed-and-back-at-once", hazards=("C1",), breaks=_kill_and_start
    ),
    Scenario(
        id="daemon-killed-and-back-later", hazards=("C1", "C4"), breaks=_kill, mends=_start,
        lasts_s=10 * MINUTE_S,
    ),
    Scenario(
        id="daemon-frozen", hazards=("C3",), breaks=_freeze, mends=_thaw, lasts_s=10 * MINUTE_S
    ),
    Scenario(
        id="daemon-ended-well", hazards=("C6",), breaks=_end, mends=_start,
        over_s=30.0, lasts_s=2 * MINUTE_S,
    ),
    Scenario(
        id="second-daemon-same-folder", hazards=("B10", "C7"), breaks=_second_here, over_s=None,
        speed=20.0,
    ),
    Scenario(
        id="second-daemon-other-folder-same-client", hazards=("B10", "C7"),
        breaks=_second_elsewhere(None), mends=_stop_other, over_s=DOSE_S,
    ),
    Scenario(
        id="second-daemon-other-folder-other-client", hazards=("B10", "C7"),
        breaks=_second_elsewhere("copied-card"), mends=_stop_other, over_s=DOSE_S,
        alarm=Alarm(code="other_controller"), order=409,
    ),
)  # fmt: skip


# -- the disk and the database


def _database(rig: Rig) -> Path:
    return rig.garden.data / "thirstline.db"


def _fill(rig: Rig) -> None:
    """Fill the small disk to its last byte; where there is none, forbid larger files."""
    if rig.garden.data.parent.is_mount():
        full = rig.garden.data.parent / "full"
        with full.open("wb", buffering=0) as file:
            try:
                while True:
                    file.write(b"\0" * 65_536)
            except OSError:
                pass
    else:
        rig.garden.limit_files(4096)


def _empty(rig: Rig) -> None:
    if rig.garden.data.parent.is_mount():
        (rig.garden.data.parent / "full").unlink()
    else:
        rig.garden.limit_files(None)


def _start_read_only(rig: Rig) -> None:
    """End the daemon, make its disk read-only, start it: nothing can be written, not one byte."""
    _end(rig)
    place = rig.garden.data.parent
    rig.garden.at_port(free_port())
    if place.is_mount():
        subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)
    _start(rig)
    if not place.is_mount():
        rig.garden.limit_files(0)
    rig.wait(lambda: rig.alert("cannot_record"), "a page that says so")


def _writable(rig: Rig) -> None:
    place = rig.garden.data.parent
    if place.is_mount():
        subprocess.run(["mount", "-o", "remount,rw", str(place)], check=True)
    else:
        rig.garden.limit_files(None)


def _hold_lock(rig: Rig) -> None:
    db = sqlite3.connect(_database(rig), isolation_level=None, timeout=30.0)
    db.execute("BEGIN EXCLUSIVE")
    rig.notes["lock"] = db
    rig.ends.callback(db.close)


def _free_lock(rig: Rig) -> None:
    rig.notes["lock"].execute("ROLLBACK")


def _gone(rig: Rig) -> None:
    for name in ("thirstline.db", "thirstline.db-wal", "thirstline.db-shm"):
        (rig.garden.data / name).unlink(missing_ok=True)
    rig.notes["forgotten"] = ["south"]


def _between_runs(deed: Deed) -> Deed:
    """End the daemon, do something to its folder, start it again."""

    def do(rig: Rig) -> None:
        _end(rig)
        deed(rig)
        _start(rig)
        rig.ready()

    return do


def _zero(rig: Rig) -> None:
    _gone(rig)
    _database(rig).touch()


def _torn(rig: Rig) -> None:
    """Pages overwritten, as a flash controller may."""
    rig.notes["forgotten"] = ["south"]
    with _database(rig).open("r+b") as file:
        file.seek(4096)
        file.write(b"\xa5" * 8192)


def _cut_short(rig: Rig) -> None:
    rig.notes["forgotten"] = ["south"]
    size = _database(rig).stat().st_size
    with _database(rig).open("r+b") as file:
        file.truncate(size // 2)


def _swapped(rig: Rig) -> None:
    """Another garden's database: made by a daemon of its own in another folder."""
    rig.notes["forgotten"] = ["south"]
    other = rig.garden.beside(rig.garden.garden_file, rig.folder / "stranger")
    rig.ends.callback(other.close)
    other.start_daemon()
    other.end_daemon()
    shutil.copy(other.data / "thirstline.db", _database(rig))


def _back_up(rig: Rig) -> None:
    backup = rig.folder / "backup.db"
    with closing(sqlite3.connect(_database(rig))) as db, closing(sqlite3.connect(backup)) as to:
        db.backup(to)


def _restore(rig: Rig) -> None:
    """The backup from before the dose comes back."""
    _gone(rig)
    shutil.copy(rig.folder / "backup.db", _database(rig))


DISK = (
    Scenario(
        id="disk-full", hazards=("S1",), breaks=_fill, mends=_empty, over_s=None, alarm=RECORD,
        order=503, small_disk=True,
    ),
    Scenario(
        id="disk-read-only", hazards=("S2",), breaks=_start_read_only, mends=_writable,
        over_s=30.0, alarm=RECORD, order=503, small_disk=True,
    ),
    Scenario(
        id="database-locked", hazards=("S5",), breaks=_hold_lock, mends=_free_lock, over_s=None,
        alarm=RECORD, order=503,
    ),
    *(
        Scenario(
            id=f"database-{name}", hazards=(hazard,), breaks=_between_runs(deed), over_s=30.0,
            alarm=LOST, vouch=True,
        )
        for name, hazard, deed in (
            ("missing", "S4", _gone),
            ("empty", "S4", _zero),
            ("swapped", "S4", _swapped),
            ("torn", "S3", _torn),
            ("cut-short", "S3", _cut_short),
        )
    ),
    Scenario(
        id="database-from-an-old-backup", hazards=("S4",), before=_back_up,
        breaks=_between_runs(_restore), over_s=30.0, alarm=LOST, vouch=True,
    ),
)  # fmt: skip


# -- the clock


def _set_clock(hours: float) -> Deed:
    """The daemon's wall clock is put to another time while it is away."""

    def do(rig: Rig) -> None:
        _end(rig)
        clock = rig.garden.clock
        rig.garden.clock = replace(clock, sim_utc_s=clock.sim_utc_s + 3600.0 * hours)
        _start(rig)
        rig.ready()

    return do


def _unset_clock(hours: float) -> Deed:
    return _set_clock(-hours)


CLOCK = (
    Scenario(
        id="nodes-a-day-ahead", hazards=("T1",), breaks=nothing,
        over_s=None, nodes_sim=FORENOON + timedelta(hours=25),
    ),
    Scenario(
        id="nodes-in-1970", hazards=("T2",), breaks=nothing,
        over_s=None, nodes_sim=FORENOON - timedelta(days=3),
    ),
    Scenario(
        id="clock-three-days-back", hazards=("T2",), breaks=_set_clock(-72.0), over_s=30.0,
    ),
)  # fmt: skip

SCENARIOS: tuple[Scenario, ...] = (*WAYS, *BROKER, *DAEMON, *DISK, *CLOCK)
