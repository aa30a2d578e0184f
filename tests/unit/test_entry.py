"""The way in: closing loads little, and everything else is the whole command."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from api import entry

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


def test_everything_else_is_the_whole_command(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["thirstline", "check", "hollin-lane", "--json"])
    with pytest.raises(SystemExit) as ended:
        entry.main()
    assert ended.value.code == 0
