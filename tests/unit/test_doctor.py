"""The board and the garden looked over: each check at its limits, its reading, and the command."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from api.care_system import System
from api.cli import main
from api.doctor_command import examine, told
from controller.datafolder import DataFolder
from controller.effects import SaveEpoch
from controller.engine import Engine
from controller.events import ProbeReading, Started, ValveReport
from controller.garden import load_garden
from controller.keeping.findings import Board, Finding, Health, board_findings
from controller.keeping.garden_findings import Seen, garden_findings
from controller.keeping.last import BackupState
from controller.run import VERSION
from controller.store import Store
from controller.trusted import ClockStamp
from sim.examples import find_garden

NOW_UTC_S = datetime(2026, 8, 1, 12, 0, tzinfo=UTC).timestamp()
DAY_S = 86_400.0
MB = 10**6
BOARD = Board(
    clock_synced=True,
    clock_plausible=True,
    clock_chip=True,
    free_bytes=8_000 * MB,
    read_only=False,
    database_bytes=90 * MB,
    disk_errors=0,
    worn_tenth=2,
    worn_warning=1,
    memory_free_bytes=300 * MB,
    daemon_bytes=60 * MB,
    board_c=55.0,
)
PICTURE: dict[str, Any] = {
    "link_up": True,
    "broker": "mqtt://127.0.0.1:1883",
    "alerts": [],
    "beds": {
        "south": {
            "probes": {
                "south-20": {"battery_v": 3.6, "flags": []},
                "south-40": {"battery_v": 3.4, "flags": []},
            }
        }
    },
    "walk": {
        "needed": True,
        "beds": {"south": {"armed": True, "at": "2026-05-10T18:00:00Z"}},
        "proof": {
            "provable": True,
            "last": {"at": "2026-07-30T05:00:00Z", "code": "ok", "text": "Sound."},
        },
        "backflow": {"device": "air_gap", "tested": "2026-04-20", "text": "An air gap."},
    },
}
SEEN = Seen(
    running=True,
    picture=PICTURE,
    broker="mqtt://127.0.0.1:1883",
    broker_reached=True,
    boots={"south-20": 1, "valve south": 2},
    backups=BackupState(age_s=DAY_S, path="/b", there=True, same_disk=False),
    garden_file="garden.toml",
    same_file=True,
    today=date(2026, 8, 1),
    ways=("mail to me@mail.example",),
    record="",
)


def of(found: list[Finding], check: str) -> Finding:
    return next(one for one in found if one.check == check)


def changed(**paths: Any) -> dict[str, Any]:
    """The picture with some of it otherwise; names are `walk__proof`."""
    made = json.loads(json.dumps(PICTURE))
    for path, value in paths.items():
        *way, last = path.split("__")
        here = made
        for word in way:
            here = here[word]
        here[last] = value
    return dict(made)


def test_a_sound_board_and_garden_are_well_in_every_check() -> None:
    found = board_findings(BOARD) + garden_findings(SEEN)
    assert [one for one in found if one.health is not Health.WELL or one.todo] == []
    assert len({one.check for one in found}) == len(found) == 17
    assert told(found).endswith("All is well.")


@pytest.mark.parametrize(
    ("many", "said"),
    [
        (0, "0 MB"),
        (9_000, "less than 1 MB"),
        (90 * MB, "90 MB"),
        (1_249 * MB, "1.2 GB"),
        (78_391 * MB, "78 GB"),
    ],
)
def test_room_is_said_in_few_digits(many: int, said: str) -> None:
    found = of(board_findings(replace(BOARD, free_bytes=many)), "disk")
    assert found.found == f"{said} free, the record takes 90 MB."


@pytest.mark.parametrize(
    ("other", "check", "health"),
    [
        ({"clock_plausible": False}, "clock", Health.BAD),
        ({"clock_synced": False}, "clock", Health.CAUTION),
        ({"clock_chip": False}, "clock", Health.CAUTION),
        ({"free_bytes": 16 * 1024 * 1024}, "disk", Health.CAUTION),
        ({"free_bytes": 16 * 1024 * 1024 - 1}, "disk", Health.BAD),
        ({"free_bytes": 200 * MB}, "disk", Health.WELL),
        ({"free_bytes": 200 * MB - 1}, "disk", Health.CAUTION),
        ({"free_bytes": None}, "disk", Health.UNKNOWN),
        ({"read_only": True}, "disk", Health.BAD),
        ({"disk_errors": 1}, "card", Health.BAD),
        ({"worn_tenth": 8}, "card", Health.WELL),
        ({"worn_tenth": 9}, "card", Health.CAUTION),
        ({"worn_tenth": 11}, "card", Health.BAD),
        ({"worn_warning": 2}, "card", Health.BAD),
        ({"worn_tenth": None, "worn_warning": None}, "card", Health.UNKNOWN),
        ({"memory_free_bytes": 24 * MB - 1}, "memory", Health.BAD),
        ({"memory_free_bytes": 24 * MB}, "memory", Health.CAUTION),
        ({"memory_free_bytes": 64 * MB}, "memory", Health.WELL),
        ({"daemon_bytes": 201 * MB}, "memory", Health.CAUTION),
        ({"daemon_bytes": None}, "memory", Health.WELL),
        ({"memory_free_bytes": None}, "memory", Health.UNKNOWN),
        ({"board_c": 80.0}, "heat", Health.CAUTION),
        ({"board_c": 79.9}, "heat", Health.WELL),
        ({"board_c": None}, "heat", Health.UNKNOWN),
    ],
)
def test_each_check_of_the_board_at_its_limit(
    other: dict[str, Any], check: str, health: Health
) -> None:
    found = board_findings(replace(BOARD, **other))
    one = of(found, check)
    assert one.health is health
    assert bool(one.todo) or health in {Health.WELL, Health.UNKNOWN}
    assert all(o.health is Health.WELL for o in found if o.check != check)


FLAT = {"south-20": {"battery_v": 2.9, "flags": [{"code": "brown_out"}]}}
FADING = {"south-20": {"battery_v": 3.2, "flags": [{"code": "battery_fading"}]}}
MUTE = {"south-20": {"battery_v": None, "flags": []}}
NOT_WALKED = {"south": {"armed": False}}
LATE = {"at": "2026-07-22T05:00:00Z", "code": "ok", "text": "Sound."}
FAILED = {"at": "2026-07-30T05:00:00Z", "code": "master_failed", "text": "Water flowed."}
BURST = [{"code": "burst", "text": "A pipe may have burst.", "person_needed": True}]
SILENT = [{"code": "probe_silent", "text": "Silent.", "person_needed": False}]


@pytest.mark.parametrize(
    ("other", "check", "health"),
    [
        ({"running": False}, "daemon", Health.BAD),
        ({"broker_reached": False, "picture": changed(link_up=False)}, "broker", Health.BAD),
        ({"picture": changed(link_up=False)}, "broker", Health.BAD),
        ({"running": False, "broker_reached": None}, "broker", Health.UNKNOWN),
        ({"same_file": False}, "garden file", Health.CAUTION),
        ({"same_file": None}, "garden file", Health.UNKNOWN),
        ({"garden_file": ""}, "garden file", Health.UNKNOWN),
        ({"file_faults": ("line 3: lean",)}, "garden file", Health.BAD),
        ({"backups": BackupState(age_s=None)}, "backups", Health.CAUTION),
        ({"backups": replace(SEEN.backups, age_s=8.1 * DAY_S)}, "backups", Health.CAUTION),
        ({"backups": replace(SEEN.backups, age_s=7.9 * DAY_S)}, "backups", Health.WELL),
        ({"backups": replace(SEEN.backups, age_s=-9.0 * DAY_S)}, "backups", Health.CAUTION),
        ({"backups": replace(SEEN.backups, same_disk=True)}, "backups", Health.CAUTION),
        ({"backups": replace(SEEN.backups, there=False)}, "backups", Health.WELL),
        ({"ways": ()}, "alarms", Health.CAUTION),
        ({"record": "page 3: damaged"}, "record", Health.BAD),
        ({"boots": {"south-20": 8}}, "boots", Health.CAUTION),
        ({"boots": {"south-20": 7}}, "boots", Health.WELL),
        ({"boots": {}}, "boots", Health.UNKNOWN),
        ({"picture": changed(beds__south__probes=FLAT)}, "batteries", Health.CAUTION),
        ({"picture": changed(beds__south__probes=FADING)}, "batteries", Health.CAUTION),
        ({"picture": changed(beds__south__probes=MUTE)}, "batteries", Health.UNKNOWN),
        ({"picture": changed(alerts=BURST)}, "alerts", Health.BAD),
        ({"picture": changed(alerts=SILENT)}, "alerts", Health.CAUTION),
        ({"picture": changed(walk__beds=NOT_WALKED)}, "walk", Health.BAD),
        ({"picture": changed(walk__beds=NOT_WALKED, walk__needed=False)}, "walk", Health.CAUTION),
        ({"picture": changed(walk__proof__last=None)}, "master proof", Health.CAUTION),
        ({"picture": changed(walk__proof__last=LATE)}, "master proof", Health.CAUTION),
        ({"picture": changed(walk__proof__last=FAILED)}, "master proof", Health.BAD),
        ({"picture": changed(walk__proof__provable=False)}, "master proof", Health.UNKNOWN),
        ({"picture": changed(walk__backflow=None)}, "backflow", Health.CAUTION),
        (
            {"picture": changed(walk__backflow__tested="2025-07-30")},
            "backflow",
            Health.CAUTION,
        ),
        ({"picture": changed(walk__backflow__tested=None)}, "backflow", Health.WELL),
    ],
)
def test_each_check_of_the_garden_at_its_limit(
    other: dict[str, Any], check: str, health: Health
) -> None:
    found = garden_findings(replace(SEEN, **other))
    one = of(found, check)
    assert one.health is health
    assert bool(one.todo) or health in {Health.WELL, Health.UNKNOWN}


def test_without_any_record_it_says_so_and_checks_the_rest() -> None:
    found = garden_findings(replace(SEEN, running=False, picture=None, record=None))
    assert of(found, "garden").health is Health.UNKNOWN
    assert "walk" not in {one.check for one in found}


# -- reading the system


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A board's kernel files, laid out by hand."""
    place = tmp_path / "root"
    for name, text in {
        "run/systemd/timesync/synchronized": "",
        "sys/class/rtc/rtc0/name": "clock",
        "proc/meminfo": "MemTotal: 900000 kB\nMemAvailable:  400000 kB\n",
        "proc/42/status": "Name: python\nVmRSS:\t  61440 kB\n",
        "sys/class/thermal/thermal_zone0/temp": "51230\n",
        "sys/class/thermal/thermal_zone1/temp": "48000\n",
        "sys/fs/ext4/mmcblk0p2/errors_count": "3\n",
        "sys/block/mmcblk0/device/life_time": "0x01 0x0a\n",
        "sys/block/mmcblk0/device/pre_eol_info": "0x02\n",
    }.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_text(text)
    return place


def system(root: Path, *, listens: bool = False) -> System:
    def reach(host: str, port: int) -> None:
        assert (host, port) == ("127.0.0.1", 1883)
        if not listens:
            raise ConnectionRefusedError

    return System(root=root, now_utc_s=lambda: NOW_UTC_S, reach=reach)


def test_the_kernels_files_are_read(root: Path, tmp_path: Path) -> None:
    board = system(root).board(tmp_path, 42, 7)
    assert board == replace(
        BOARD,
        free_bytes=board.free_bytes,
        database_bytes=7,
        disk_errors=3,
        worn_tenth=10,
        worn_warning=2,
        memory_free_bytes=400_000 * 1024,
        daemon_bytes=61_440 * 1024,
        board_c=51.23,
    )
    assert board.free_bytes == pytest.approx(shutil.disk_usage(tmp_path).free, rel=0.1)


def test_a_board_that_tells_nothing_is_unknown_and_never_well(tmp_path: Path) -> None:
    board = system(tmp_path / "bare").board(tmp_path / "gone", 42, 0)
    silent = {one.check: one.health for one in board_findings(board)}
    assert silent.pop("clock") is Health.CAUTION
    assert set(silent.values()) == {Health.UNKNOWN}


@pytest.mark.parametrize("text", ["", "soon", "0xzz", "-"])
def test_files_of_another_form_are_none(root: Path, tmp_path: Path, text: str) -> None:
    for name in (
        "sys/block/mmcblk0/device/life_time",
        "sys/block/mmcblk0/device/pre_eol_info",
        "sys/fs/ext4/mmcblk0p2/errors_count",
        "proc/meminfo",
    ):
        (root / name).write_text(text)
    board = system(root).board(tmp_path, None, 0)
    assert (board.worn_tenth, board.worn_warning, board.disk_errors) == (None, None, None)
    assert (board.memory_free_bytes, board.daemon_bytes) == (None, None)


# -- the command over a record


@pytest.fixture
def data(tmp_path: Path) -> DataFolder:
    """A record of a garden whose daemon has ended."""
    folder = DataFolder(tmp_path / "data")
    garden = load_garden(find_garden("hollin-lane"))
    stamp = ClockStamp(boot_id="a", mono_s=1.0, utc_s=NOW_UTC_S, synced=True, trusted_s=1.0)
    store, engine = Store.open(folder), Engine(garden)
    began = Started(
        at_utc_s=NOW_UTC_S,
        mono_s=0.0,
        trusted_s=0.0,
        stored_epoch=0,
        garden_json=garden.model_dump_json(),
        armed=False,
    )
    store.commit(began, engine.step(began), durable=True, stamp=stamp)
    store.commit(began, [SaveEpoch(epoch=1)], durable=True, stamp=stamp)
    for n in range(20):
        at: dict[str, Any] = {
            "at_utc_s": NOW_UTC_S - 8 * DAY_S + n * DAY_S / 2.0,
            "mono_s": float(n),
        }
        told = ProbeReading(**at, probe="wall-20", value=0.2, boot=f"b{n}", battery_v=3.3)
        store.commit(told, [], durable=False, stamp=stamp)
        node: dict[str, Any] = {
            "valve": "south",
            "boot": f"v{n % 2}",
            "dose": "",
            "epoch": 0,
            "seq": 0,
        }
        said = ValveReport(**at, **node, open=False, left_s=0.0, contract=1)
        store.commit(said, [], durable=False, stamp=stamp)
    store.save_snapshot(VERSION, engine.dump().decode())
    store.close()
    folder.unlock()
    return folder


def test_a_record_is_looked_over_without_its_daemon(
    data: DataFolder, root: Path, tmp_path: Path
) -> None:
    found = examine(data, "hollin-lane", system(root, listens=True), deep=True)
    assert {one.check: one.health.value for one in found} == {
        "clock": "well",
        "disk": of(found, "disk").health.value,  # of this machine
        "card": "bad",
        "memory": "well",
        "heat": "well",
        "daemon": "bad",
        "broker": "well",
        "garden file": "well",
        "backups": "caution",
        "alarms": "caution",
        "record": "well",
        "boots": "caution",
        "batteries": "unknown",
        "alerts": of(found, "alerts").health.value,
        "walk": "bad",
        "master proof": "unknown",
        "backflow": "caution",
    }
    assert "wall-20 (18)" in of(found, "boots").found  # of the last week alone
    assert "valve south" not in of(found, "boots").found
    file = tmp_path / "garden.toml"
    text = find_garden("hollin-lane").read_text().replace("lean = 0.4", "lean = 0.5")
    file.write_text(text)
    again = examine(data, str(file), system(root))
    assert of(again, "garden file").health is Health.CAUTION
    file.write_text(text.replace("lean = 0.5", "lean = 7"))
    again = examine(data, str(file), system(root))
    assert of(again, "garden file").health is Health.BAD
    assert of(again, "broker").health is Health.BAD


def test_a_damaged_record_is_found_and_named(data: DataFolder, root: Path) -> None:
    with data.database.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xa5" * 16_384)
    found = examine(data, None, system(root), deep=True)
    assert of(found, "record").health is Health.BAD


def test_what_the_journal_lost_is_counted(data: DataFolder, root: Path) -> None:
    with closing(sqlite3.connect(data.database)) as db:
        first_n, n = db.execute("SELECT first_n, n FROM recent WHERE slot = 0").fetchone()
        db.execute("UPDATE recent SET events = x'00' WHERE slot = 0")
        db.commit()
    found = of(examine(data, None, system(root), deep=True), "record")
    assert found.health is Health.CAUTION
    assert found.found.startswith(f"{n - first_n + 1} events of the journal are damaged")


def test_the_command_says_what_to_do_and_ends_with_1(data: DataFolder, root: Path) -> None:
    words = ["doctor", "--data", str(data.path)]
    said = CliRunner().invoke(main, words, obj=system(root))
    assert said.exit_code == 1
    assert "BAD   daemon        No daemon answers." in said.output
    assert "to be done" in said.output
    as_json = CliRunner().invoke(main, [*words, "--json"], obj=system(root))
    assert as_json.exit_code == 1
    shown = json.loads(as_json.stdout)
    assert shown["well"] is False
    assert {"check", "health", "found", "todo"} == set(shown["checks"][0])


def test_a_garden_that_was_never_run_is_told_in_words(tmp_path: Path, root: Path) -> None:
    words = ["doctor", "hollin-lane", "--data", str(tmp_path / "none")]
    said = CliRunner().invoke(main, words, obj=system(root))
    assert said.exit_code == 1
    assert "there is no record here" in said.output
    assert not (tmp_path / "none").exists()
