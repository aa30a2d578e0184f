"""The service's files: fenced as measured, by the book, written whole or not at all."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from api.cli import main
from api.close_command import program_path
from controller import clock as clock_module
from controller.clock import ScaledClock
from controller.keeping.unit import BACKUP_UNIT, UNIT, Service, quoted, service_files
from sim.examples import find_garden

SCORE_TENTHS_MOST = "15"  # 1.5 of 10: the safety standard's gate
MAIL = '\n[alarm.mail]\nhost = "mail.example"\nto = ["me@mail.example"]\n'
SERVICE = Service(
    command="/opt/thirstline/bin/thirstline",
    garden_file="/etc/thirstline/garden.toml",
    name="Hollin Lane plot",
    user="thirstline",
    state="thirstline",
    allow=("192.168.1.0/24",),
    backups="/media/stick",
    keep=14,
)


@pytest.fixture
def garden(tmp_path: Path) -> Path:
    """Hollin Lane with a user on its broker."""
    text = find_garden("hollin-lane").read_text(encoding="utf-8")
    text = text.replace("# username", "username").replace("# password_file", "password_file")
    path = tmp_path / "garden.toml"
    path.write_text(text, encoding="utf-8")
    return path


def install(garden: Path, root: Path, *more: str) -> Result:
    words = ["install-service", str(garden), "--prefix", str(root), "--command", "/usr/bin/env"]
    return CliRunner().invoke(main, [*words, *more])


def scored(path: Path) -> subprocess.CompletedProcess[str]:
    program = shutil.which("systemd-analyze")
    if program is None:
        pytest.skip("systemd-analyze is not installed: the score is not measured here")
    words = [program, "security", "--offline=true", f"--threshold={SCORE_TENTHS_MOST}", str(path)]
    return subprocess.run(words, capture_output=True, text=True, check=False, timeout=60.0)


@pytest.mark.hazard("C3", "C6")
@pytest.mark.parametrize(
    ("allow", "unit", "most"),
    [
        pytest.param((), UNIT, 1.2, id="this-board-only"),
        pytest.param(("192.168.1.0/24",), UNIT, 1.3, id="with-the-lan"),
        pytest.param(None, UNIT, 1.5, id="mail-to-anywhere"),
        pytest.param((), BACKUP_UNIT, 1.3, id="backup"),
    ],
)
def test_the_service_is_fenced_within_the_agreed_score(
    tmp_path: Path, allow: tuple[str, ...] | None, unit: str, most: float
) -> None:
    service = Service(**{**{f: getattr(SERVICE, f) for f in SERVICE.__slots__}, "allow": allow})
    path = tmp_path / Path(unit).name
    path.write_text(service_files(service)[unit])
    done = scored(path)
    assert done.returncode == 0, done.stdout + done.stderr
    told = re.search(r"exposure level for \S+: ([0-9.]+)", done.stdout)
    assert told is not None
    assert float(told[1]) <= most


def test_a_bare_unit_would_not_pass_the_score(tmp_path: Path) -> None:
    path = tmp_path / "bare.service"
    path.write_text("[Service]\nExecStart=/usr/bin/env\n")
    assert scored(path).returncode != 0


def test_systemd_finds_no_fault_in_the_files(garden: Path, tmp_path: Path) -> None:
    root = tmp_path / "root"
    assert install(garden, root).exit_code == 0
    program = shutil.which("systemd-analyze")
    if program is None:
        pytest.skip("systemd-analyze is not installed: the files are not verified here")
    for path in sorted((root / "etc/systemd/system").iterdir()):
        done = subprocess.run(
            [program, "verify", str(path)], capture_output=True, text=True, check=False, timeout=60
        )
        own = [line for line in done.stderr.splitlines() if "thirstline" in line]
        assert (done.returncode, own) == (0, []), done.stderr


def test_the_unit_holds_what_the_safety_standard_asks() -> None:
    unit = service_files(SERVICE)[UNIT]
    for line in (
        "Type=notify",
        "NotifyAccess=main",
        "WatchdogSec=20",
        "Restart=always",
        "RestartSec=5",
        "StartLimitIntervalSec=0",
        "TimeoutStopSec=20",
        "StateDirectory=thirstline",
        "After=network.target mosquitto.service time-set.target",
        "ExecStopPost=/opt/thirstline/bin/thirstline close-all /etc/thirstline/garden.toml",
        "IPAddressAllow=localhost 192.168.1.0/24",
        "Environment=THIRSTLINE_BOOT_ID=%b",
        "MemoryMax=256M",
    ):
        assert line in unit.splitlines()
    assert "time-sync.target" not in unit  # waiting for it would stop watering offline


def test_the_boot_is_known_within_the_fence(monkeypatch: pytest.MonkeyPatch) -> None:
    """`ProcSubset=pid` hides the kernel's file; the unit tells it in the environment."""
    monkeypatch.setattr(clock_module, "BOOT_ID", Path("/proc/none"))
    monkeypatch.setenv("THIRSTLINE_BOOT_ID", "abc")
    assert ScaledClock().stamp(0.0).boot_id == "abc"
    monkeypatch.delenv("THIRSTLINE_BOOT_ID")
    assert ScaledClock().stamp(0.0).boot_id == ""


@pytest.mark.parametrize(
    ("word", "as_told"),
    [("/opt/a", "/opt/a"), ("/my plot/a", '"/my plot/a"'), ("/a%b$c", '"/a%%b$$c"')],
)
def test_words_of_a_command_line_are_taken_as_they_are(word: str, as_told: str) -> None:
    assert quoted(word) == as_told


def test_files_are_written_below_the_root_and_a_garden_file_never_over(
    garden: Path, tmp_path: Path
) -> None:
    root = tmp_path / "root"
    said = install(garden, root, "--allow", "192.168.1.0/24", "--backups", "/media/stick")
    assert said.exit_code == 0, said.output
    written = sorted(str(p.relative_to(root)) for p in root.rglob("*") if p.is_file())
    assert written == [
        "etc/systemd/journald.conf.d/thirstline.conf",
        "etc/systemd/system/thirstline-backup.service",
        "etc/systemd/system/thirstline-backup.timer",
        "etc/systemd/system/thirstline.service",
        "etc/sysusers.d/thirstline.conf",
        "etc/thirstline/garden.toml",
    ]
    assert "ReadWritePaths=-/media/stick" in (root / BACKUP_UNIT).read_text()
    assert (root / "etc/thirstline/garden.toml").read_bytes() == garden.read_bytes()
    (root / "etc/thirstline/garden.toml").write_text("my own")
    assert install(garden, root, "--keep", "3").exit_code == 1  # other units stand there
    before = (root / UNIT).read_text()
    again = install(garden, root, "--keep", "3", "--replace")
    assert again.exit_code == 0
    assert (root / UNIT).read_text() != before
    assert (root / "etc/thirstline/garden.toml").read_text() == "my own"
    assert "left as it is" in again.output


def test_a_dry_run_prints_all_and_writes_nothing(garden: Path, tmp_path: Path) -> None:
    root = tmp_path / "root"
    said = install(garden, root, "--dry-run")
    assert said.exit_code == 0
    assert not root.exists()
    for words in (
        "Type=notify",
        "u thirstline",
        "OnCalendar",
        "systemctl daemon-reload",
        "chown thirstline",
    ):
        assert words in said.output


def test_what_the_service_rests_on_is_looked_at_first(garden: Path, tmp_path: Path) -> None:
    root = tmp_path / "root"
    bare = CliRunner().invoke(
        main,
        [
            "install-service",
            "hollin-lane",
            "--prefix",
            str(root),
            "--command",
            "/home/me/thirstline",
        ],
    )
    assert bare.exit_code == 1
    for words in ("there is no such program", "cannot see this place", "broker.password_file"):
        assert words in bare.output
    assert not root.exists()
    with garden.open("a") as file:
        file.write(MAIL)
    said = install(garden, root, "--json")
    told = json.loads(said.stdout)
    assert "IPAddressDeny" not in told["files"][UNIT]
    assert any("Mail goes to a server outside" in line for line in told["said"])


@pytest.mark.parametrize(
    "words",
    [
        ("--user", "root"),
        ("--user", "a b"),
        ("--allow", "everywhere"),
        ("--backups", "here"),
    ],
)
def test_words_that_make_no_sense_are_refused(
    garden: Path, tmp_path: Path, words: tuple[str, str]
) -> None:
    assert install(garden, tmp_path / "root", *words).exit_code == 2
    assert not (tmp_path / "root").exists()


def test_the_program_is_named_as_it_lies(tmp_path: Path) -> None:
    called = tmp_path / "thirstline"
    called.write_text("")
    assert program_path(str(called), "/opt/v/bin/python") == called
    assert program_path("-m", "/opt/v/bin/python") == Path("/opt/v/bin/thirstline")
