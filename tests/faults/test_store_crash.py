"""Kill -9 and power cuts: what was acknowledged is there, and nothing is there by half."""

import random
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from controller.datafolder import DataFolder
from controller.effects import Reserve, SaveEpoch
from controller.errors import LockedError
from controller.events import LinkUp, ProbeReading, Started
from controller.store import Store
from controller.trusted import ClockStamp

STAMP = ClockStamp(boot_id="a", mono_s=1.0, utc_s=1_783_000_000.0, synced=True, trusted_s=1.0)
ROOT = Path(__file__).parents[2]

WRITER = """
import sys
from pathlib import Path
from controller.datafolder import DataFolder
from controller.effects import Outcome, Reserve, SaveEpoch, Settle
from controller.events import LinkUp, ProbeReading
from controller.store import Store
from controller.trusted import ClockStamp

run = int(sys.argv[2])
store = Store.open(DataFolder(Path(sys.argv[1])))
stamp = ClockStamp(boot_id="a", mono_s=1.0, utc_s=1783000000.0, synced=True, trusted_s=1.0)
event = LinkUp(at_utc_s=1783000000.0, mono_s=1.0)
store.commit(event, [SaveEpoch(epoch=run)], durable=True, stamp=stamp)
for i in range(1, 100000):
    reading = ProbeReading(at_utc_s=1783000000.0, mono_s=float(i), probe="p", value=0.2)
    store.commit(reading, [], durable=False, stamp=stamp)
    dose = f"{run}-{i}"
    reserve = Reserve(dose=dose, watering="w", bed="south", valve="v", by="policy",
        from_utc_s=1783000000.0, open_s=60.0, reserved_l=float(i), want_l=1.0, epoch=run,
        seq_high=i, trusted_s=1.0)
    store.commit(event, [reserve], durable=True, stamp=stamp)
    print("reserved", dose, flush=True)
    if i % 2:
        settle = Settle(dose=dose, outcome=Outcome.CONFIRMED, open_s=30.0, charged_l=0.5,
            credited_l=0.4, ended_trusted_s=1.0)
        store.commit(event, [settle], durable=True, stamp=stamp)
        print("settled", dose, flush=True)
"""

HOLDER = """
import sys, time
from pathlib import Path
from controller.datafolder import DataFolder
DataFolder(Path(sys.argv[1])).lock()
print("held", flush=True)
time.sleep(60)
"""


def child(script: str, *args: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", script, *args], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )


def acknowledged_before_the_kill(folder: Path, run: int, lines: int) -> list[tuple[str, str]]:
    """Let a writer acknowledge some lines, kill it wherever it is, and read all that it said."""
    with child(WRITER, str(folder), str(run)) as writer:
        assert writer.stdout is not None
        said = [writer.stdout.readline() for _ in range(lines)]
        writer.kill()
        said += writer.stdout.readlines()
    assert writer.returncode == -signal.SIGKILL
    whole = [line.split() for line in said if line.endswith("\n")]
    return [(what, dose) for what, dose in whole]


def check_everything_acknowledged(store: Store, said: list[tuple[str, str]]) -> None:
    rows = {row["dose"]: row for row in store._query("SELECT * FROM reservations", ())}
    settled = {dose for what, dose in said if what == "settled"}
    for _, dose in said:
        row = rows[dose]
        if dose in settled:
            assert (row["outcome"], row["charged_l"]) == ("CONFIRMED", 0.5)
        elif row["outcome"] == "ASSUMED_FULL":
            assert row["charged_l"] == row["reserved_l"] == float(dose.split("-")[1])
        else:  # it had settled, and was killed before it could say so
            assert row["outcome"] == "CONFIRMED"
    assert not [dose for dose, row in rows.items() if row["outcome"] is None]


def kill_and_recover(folder: Path, runs: int, seed: int) -> None:
    random_lines = random.Random(seed)
    said: list[tuple[str, str]] = []
    open_ones = 0
    for run in range(1, runs + 1):
        said += acknowledged_before_the_kill(folder, run, random_lines.randint(1, 150))
        data = DataFolder(folder)
        store = Store.open(data)
        if run == 1:  # a start was told, as a daemon does
            started = Started(at_utc_s=0.0, mono_s=0.0, trusted_s=0.0, stored_epoch=0)
            store.commit(started, [], durable=True, stamp=STAMP)
        recovered = store.recover(STAMP, scaled=False)
        assert recovered.history == "kept"
        assert recovered.stored_epoch == run
        assert store._query("PRAGMA integrity_check", ()) == [{"integrity_check": "ok"}]
        check_everything_acknowledged(store, said)
        events = [type(row.event) for row in store.journal()]
        assert events.count(ProbeReading) >= len({dose for _, dose in said})
        open_ones += len(
            store._query("SELECT 1 FROM reservations WHERE outcome = 'ASSUMED_FULL'", ())
        )
        store.close()
        data.unlock()
    assert open_ones > 0, f"seed {seed}: no run was killed with an opening under way"


@pytest.mark.hazard("C1")
def test_kill_at_any_moment_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    kill_and_recover(tmp_path, runs=5, seed=20_260_702)


@pytest.mark.slow
def test_sixty_kills_lose_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    kill_and_recover(tmp_path, runs=60, seed=60)


@pytest.mark.hazard("C7")
def test_lock_of_a_killed_holder_is_free_again(tmp_path: Path) -> None:
    with child(HOLDER, str(tmp_path)) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(LockedError, match=f"process {holder.pid} holds"):
            Store.open(DataFolder(tmp_path))
        assert not (tmp_path / "thirstline.db").exists()
        holder.kill()
    Store.open(DataFolder(tmp_path)).close()


def reserve(i: int) -> Reserve:
    return Reserve(
        dose=f"d{i:03}",
        watering="w",
        bed="south",
        valve="v",
        by="policy",
        from_utc_s=1.0,
        open_s=60.0,
        reserved_l=float(i + 1),
        want_l=1.0,
        epoch=1,
        seq_high=i,
        trusted_s=1.0,
    )


@pytest.mark.hazard("C4")
def test_power_cut_tears_only_what_was_not_acknowledged(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path / "live")
    log = folder.path / "thirstline.db-wal"
    event = LinkUp(at_utc_s=1.0, mono_s=1.0)
    store = Store.open(folder)
    store.commit(event, [SaveEpoch(epoch=1)], durable=True, stamp=STAMP)
    synced = []  # length of the log at each acknowledgement
    for i in range(60):
        store.commit(event, [reserve(i)], durable=True, stamp=STAMP)
        synced.append(log.stat().st_size)
    database, whole_log = folder.database.read_bytes(), log.read_bytes()
    install = (folder.path / "install").read_bytes()
    store.close()
    assert synced == sorted(set(synced)), "a checkpoint came in between: write fewer doses"

    cuts = random.Random(4)
    for trial in range(40):
        cut = cuts.randint(synced[0], len(whole_log))
        torn = DataFolder(tmp_path / f"torn-{trial}")
        torn.database.write_bytes(database)
        (torn.path / "thirstline.db-wal").write_bytes(whole_log[:cut] + cuts.randbytes(trial * 50))
        (torn.path / "install").write_bytes(install)
        after = Store.open(torn)
        recovered = after.recover(STAMP, scaled=False)
        doses = [entry.dose for entry in recovered.ledger]
        assert doses == [f"d{i:03}" for i, size in enumerate(synced) if size <= cut]
        assert after.last_n() == len(doses) + 1  # the journal tells of these, and of no other
        assert all(entry.charged_l == int(entry.dose[1:]) + 1 for entry in recovered.ledger)
        assert after._query("PRAGMA integrity_check", ()) == [{"integrity_check": "ok"}]
        after.close()


def test_backup_connection_sees_each_dose_as_soon_as_commit_returns(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path)
    store = Store.open(folder)
    second = sqlite3.connect(folder.database)
    event = LinkUp(at_utc_s=1.0, mono_s=1.0)
    store.commit(event, [SaveEpoch(epoch=1)], durable=True, stamp=STAMP)
    for i in range(10):
        store.commit(event, [reserve(i)], durable=True, stamp=STAMP)
        assert second.execute("SELECT count(*) FROM ledger").fetchone() == (i + 1,)
    second.close()
    store.close()
