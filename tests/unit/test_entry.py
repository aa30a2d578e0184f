"""The way in: closing loads little, and everything else is the whole command."""

from __future__ import annotations

import socket
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from api import cli, entry
from controller.datafolder import DataFolder

ROOT = Path(__file__).parents[2]
HEAVY = ("fastapi", "uvicorn", "jinja2", "sqlite_utils", "sim.bench", "controller.engine")


def alone(*words: str) -> subprocess.CompletedProcess[str]:
    text = (
        "import sys, atexit; from api import entry; sys.argv = ['thirstline', *sys.argv[1:]]; "
        f"atexit.register(lambda: print([m for m in {HEAVY} if m in sys.modules])); entry.main()"
    )
    return subprocess.run(
        [sys.executable, "-c", text, *words], cwd=ROOT, capture_output=True, text=True, check=False
    )


@pytest.mark.hazard("C6")
def test_closing_loads_neither_page_nor_record_nor_simulator(tmp_path: Path) -> None:
    done = alone("close-all", "hollin-lane-that-is-not-there")
    assert (done.returncode, done.stdout) == (1, "[]\n")
    assert "hollin-lane-that-is-not-there" in done.stderr
    garden = tmp_path / "garden.toml"
    garden.write_text("[garden]\nid = 3\n")
    done = alone("close-all", str(garden))
    assert (done.returncode, done.stdout) == (1, "[]\n")
    assert "garden.id" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.hazard("C1", "C7")
def test_a_start_locks_and_binds_and_closes_before_it_loads_what_it_needs(tmp_path: Path) -> None:
    """`first` stands for what comes before: it tells what was loaded and held by then, and ends."""
    text = (
        "import sys; from api import cli, entry\n"
        "def first(garden):\n"
        "    from controller.datafolder import DataFolder\n"
        "    from controller.errors import LockedError\n"
        "    try:\n"
        "        DataFolder(__import__('pathlib').Path(sys.argv[-1])).lock()\n"
        "    except LockedError:\n"
        "        print('ours')\n"
        f"    print([m for m in {HEAVY} if m in sys.modules])\n"
        "    raise SystemExit(7)\n"
        "cli.close_first = first; sys.argv = ['thirstline', *sys.argv[1:]]; entry.main()"
    )
    words = ("run", "hollin-lane", "--port", "0", "--data", str(tmp_path / "data"))
    done = subprocess.run(
        [sys.executable, "-c", text, *words],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=60.0,
    )
    assert (done.returncode, done.stdout) == (7, "ours\n[]\n"), done.stderr


@pytest.mark.hazard("C7")
@pytest.mark.parametrize("taken", ["folder", "port"])
def test_who_has_not_both_folder_and_page_tells_no_valve(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, taken: str
) -> None:
    """They may be another daemon's, and so may be the water that runs."""
    told: list[str] = []
    monkeypatch.setattr(cli, "close_first", lambda garden: told.append(garden.garden.id))
    other = DataFolder(tmp_path / "data")
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        port = 0
        if taken == "port":
            sock.listen()
            port = sock.getsockname()[1]
        else:
            other.lock()
        words = ["run", "hollin-lane", "--port", str(port), "--data", str(other.path)]
        done = CliRunner().invoke(cli.main, words)
    other.unlock()
    assert done.exit_code == 1
    assert {"folder": "holds this data folder", "port": "cannot listen"}[taken] in done.stderr
    assert told == []
    other.lock()  # whoever was refused holds nothing any more
    other.unlock()


def test_everything_else_is_the_whole_command(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["thirstline", "check", "hollin-lane", "--json"])
    with pytest.raises(SystemExit) as ended:
        entry.main()
    assert ended.value.code == 0
