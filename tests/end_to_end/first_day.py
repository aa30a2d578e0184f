"""A newcomer's first day over a real broker, by nothing but what the screens name as next.

The hardware is there already: virtual nodes of the Hollin Lane plot. The newcomer has written down
what the tape measure, the bucket and the spade told. Time runs 60 times faster, so the daemon is
`unarmed_run.py` in place of `thirstline run`, which would count as armed.

    python -m tests.end_to_end.first_day    writes hardware_notes/first_day.md anew
"""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import COMMAND, END_S, START_S, LiveGarden, until

ROOT = Path(__file__).parents[2]
NOTES = ROOT / "hardware_notes" / "first_day.md"
NIGHT = datetime(2026, 7, 16, 6, 0, tzinfo=UTC)  # 23:00 at the plot: within its hours
DRY = "wall"
FILE = "hollin.toml"
WRITTEN_DOWN = "written-down.toml"
LISTEN_S = 14  # [s] real; the nodes speak every 10 s at this pace
ANSWERS = """\
name = "Hollin Lane plot"
timezone = "America/Los_Angeles"
units = "metric"
latitude = 47.6
longitude = -122.3
bucket_l = 10
bucket_s = 43
pulse_l = 0.1

planted = 2026-05-09
plants = 24
spacing_m = 0.6
width_m = 1.2
lines = 3
emitters = 72
emitter_l_h = 2

[wall]
soil = "feel 2 gritty"

[low]
soil = "feel 4 neither"
probes = ["low-shallow", "low-deep"]
emitter_l_h = 1.6

[low-shallow]
kind = "theta_pct"

[low-deep]
kind = "theta_pct"

[south]
soil = "jar 4 4 2"
probes = ["a1-soil-shallow", "a1-soil-deep"]

[hedge]
soil = "loam"
"""
PLACE = re.compile(r"http://[\w.:]+/open\?code=[\w-]+|mqtt://[\w.:]+")


@dataclass(frozen=True, slots=True)
class Screen:
    """What was typed, and what it showed."""

    typed: str
    shown: str

    @property
    def then(self) -> str:
        """The last command that the screen names as next, empty where it names none."""
        found = re.findall(r"^next: +(thirstline .+)$", self.shown, re.MULTILINE)
        return found[-1] if found else ""


@dataclass(slots=True)
class FirstDay:
    """One run.

    Args:
        live: broker and nodes; its own garden file is the hardware's, unseen by the newcomer.
        folder: where the newcomer works.
        url: of the broker.
    """

    live: LiveGarden
    folder: Path
    url: str
    screens: list[Screen] = field(default_factory=list)
    walked_l: float = 0.0
    armed_after_s: float = 0.0
    walk_s: float = 0.0
    water_after_s: float = 0.0
    _run: subprocess.Popen[str] | None = None

    def live_through(self) -> None:
        """From the first command to the first water that nobody ordered."""
        dry = [f"--depletion={bed}=0.1" for bed in ("south", "low", "hedge")]
        self.live.start_bench(*dry, f"--depletion={DRY}=0.55")
        (self.folder / WRITTEN_DOWN).write_text(ANSWERS, encoding="utf-8")
        began_s = self.live.clock.now_utc_s()
        told = ["--yes", "--answers", WRITTEN_DOWN]
        broker = ["-a", f"broker={self.url}", "-a", f"listen={LISTEN_S}"]
        self.type(f"thirstline new {FILE}", *told, *broker)
        self.follow("check")
        self.keep()
        self.follow("pair")
        walk_s = self.live.clock.now_utc_s()
        self.follow("walk", "--yes")
        self.armed_after_s = self.live.clock.now_utc_s() - began_s
        self.walk_s = self.live.clock.now_utc_s() - walk_s
        self.walked_l = self.live.truth().litres(DRY)
        until(lambda: self.live.truth().litres(DRY) > self.walked_l + 5.0, 90.0, "its own water")
        self.water_after_s = self.live.clock.now_utc_s() - began_s
        self.follow("status")
        self.follow("why")

    def type(self, words: str, *more: str) -> Screen:
        """Type a command; it has to end well."""
        program, *rest = shlex.split(words)
        assert program == "thirstline", words
        done = subprocess.run(
            [*COMMAND, *rest, *more],
            cwd=self.folder,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=300.0,
            check=False,
        )
        assert done.returncode == 0, (words, done.stdout, done.stderr)
        shown = Screen(shlex.join([*shlex.split(words), *more]), done.stdout)
        self.screens.append(shown)
        return shown

    def follow(self, expected: str, *more: str) -> Screen:
        """Type what the last screen names as next."""
        then = self.screens[-1].then
        assert then.split()[1:2] == [expected], (self.screens[-1].typed, then)
        return self.type(then, *more)

    def keep(self) -> None:
        """The daemon, in a terminal of its own."""
        then = self.screens[-1].then
        assert then == f"thirstline run {FILE}", then
        log = self.folder / "run.log"
        with log.open("w") as out:
            self._run = subprocess.Popen(
                [sys.executable, "-m", "tests.end_to_end.unarmed_run", FILE, "60"],
                cwd=self.folder,
                env=self.environment,
                stdout=out,
                stderr=out,
                text=True,
            )
        until(lambda: "next:" in log.read_text(), START_S, f"the daemon's words; {log.read_text()}")
        self.screens.append(Screen(then, log.read_text()))

    @property
    def environment(self) -> dict[str, str]:
        state = {"XDG_STATE_HOME": str(self.folder / "state"), "COLUMNS": "80"}
        return {**self.live.environment, **state}

    def close(self) -> None:
        if self._run is not None and self._run.poll() is None:
            self._run.terminate()
            self._run.wait(END_S)
        self.live.close()

    def transcript(self) -> str:
        """What was typed and shown, addresses made plain."""
        parts = [f"$ {one.typed}\n{one.shown.rstrip()}" for one in self.screens]
        return plain("\n\n".join(parts))


def plain(text: str) -> str:
    """Replace what differs from run to run: codes and ports."""

    def usual(found: re.Match[str]) -> str:
        if found[0].startswith("mqtt"):
            return "mqtt://127.0.0.1:1883"
        return "http://127.0.0.1:8470/open?code=…"

    return PLACE.sub(usual, text)


def stable(transcript: str) -> list[str]:
    """The lines that each run shows alike: commands, next steps, what `new` and `check` say."""
    kept, within = [], ""
    for line in transcript.splitlines():
        within = line.split()[2] if line.startswith("$ ") else within
        if line.startswith(("$ ", "next:")) or (within in {"new", "check"} and line.strip()):
            kept.append(line.rstrip())
    return kept


def notes(day: FirstDay, real_s: float) -> str:
    """The document."""
    minutes, armed, walk = (
        one / 60.0 for one in (day.water_after_s, day.armed_after_s, day.walk_s)
    )
    return f"""# A first day, as it went

Made by `python -m tests.end_to_end.first_day` over a real broker, with virtual nodes of the
invented Hollin Lane plot; a test runs it again and holds it against this page. It uses no command
but those that the screens name after `next:`. To `walk` is added `--yes`, which takes the meter's
word, since nobody stands at the beds; to `new` a file of notes, below, in place of typing. The
daemon was started so that it counts as not armed, as on a board, and time ran 60 times faster.

From the first command to the first water that nobody ordered: {len(day.screens) - 2} commands and
{minutes:.0f} minutes of the garden's clock ({real_s:.0f} s as it was run here, so each second that
a program takes to start counts as a minute). Armed after {armed:.0f} of these minutes; the walk
of master and four beds took {walk:.0f}. Reading, typing and digging are not in it.

What was written down before, by tape measure, bucket, watch and hands:

```toml
{ANSWERS.rstrip()}
```

```text
{day.transcript()}
```
"""


def main() -> None:
    """Run it and write the document."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        broker = Mosquitto(folder)
        broker.start()
        day = FirstDay(LiveGarden(folder / "plot", broker.url, sim=NIGHT), folder, broker.url)
        began_s = time.monotonic()
        try:
            day.live_through()
            NOTES.write_text(notes(day, time.monotonic() - began_s), encoding="utf-8")
        finally:
            day.close()
            broker.stop()


if __name__ == "__main__":
    main()
