"""Each reaction to a hazard taken out, one at a time: does a test that carries its id fail?

    python tests/hazard_mutants.py [--jobs N] [--hazard V3] [--no-broker] [--quick] [--json]

The mutants stand in `tests/hazards/mutants.py`. Each is put into a copy of the tree, and the tests
that carry its hazard's id run there until the first that fails: then it is *killed*. Its text has
to stand in its file exactly once, so that a list that has gone stale is found. Exit 0: all killed.
All those tests have to pass without any change first, but for `--quick`; those that need a broker
are left out with `--no-broker`, and said. Needs `fork`.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from itertools import count
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests import hazard_table  # noqa: E402
from tests.hazards.mutants import MUTANTS, Mutant  # noqa: E402

PARTS = ("controller", "sim", "api", "tests", "hardware_notes")
FILES = ("pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md")
STAMPS = count(1_000_000_000)  # of the files that are changed: no two alike
LONGEST_S = 300  # of CPU, for the nearest tests of one mutant
ALL_S = 1800  # the same for all of them without any change
WAIT = 8  # times as long by the clock, on a machine with other work; then nothing is said
SAID = ".said"  # what pytest said, in a copy
HEAVY = (
    "pytest",
    "hypothesis",
    "pydantic",
    "fastapi",
    "sqlite_utils",
    "httpx2",
    "paho.mqtt.client",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """What became of one mutant."""

    mutant: Mutant
    outcome: str  # killed | survived | broken
    seconds: float
    by: str = ""  # the test that failed, or what went wrong

    @property
    def good(self) -> bool:
        """Whether it was found."""
        return self.outcome == "killed"


def nearest(mutant: Mutant) -> list[str]:
    """Which tests are run against it."""
    shown = hazard_table.marks()
    carried = [one for name in mutant.hazards for one in shown.get(name, [])]
    wire = [one for one in carried if one.evidence == "wire"]
    here = [one for one in carried if one.evidence != "wire"]
    here.sort(key=lambda one: (one.evidence == "property", "invariants" in one.file))  # quick first
    chosen = wire if mutant.broker else here
    ids = [f"tests/{one.file}::{one.test}" for one in chosen]
    return list(dict.fromkeys([*ids, *mutant.tests]))


def changed(text: str, mutant: Mutant) -> str:
    """The file's text with the reaction taken out.

    Raises:
        ValueError: what it takes out does not stand there exactly once.
    """
    found = text.count(mutant.old)
    if found != 1:
        message = f"{mutant.file}: stands there {found} times: {mutant.old.strip()[:60]!r}"
        raise ValueError(message)
    return text.replace(mutant.old, mutant.new)


def put(path: Path, text: str) -> None:
    """Write a file so that no compiled code of an earlier text passes for its own."""
    path.write_text(text, encoding="utf-8")
    stamp = next(STAMPS)
    os.utime(path, (stamp, stamp))


def copy_tree(place: Path) -> Path:
    """A copy of what the tests need."""
    place.mkdir()
    leave = shutil.ignore_patterns("__pycache__", "*.pyc", ".*", "*.png")
    for part in PARTS:
        shutil.copytree(ROOT / part, place / part, ignore=leave)
    for name in FILES:
        if (ROOT / name).exists():
            shutil.copy(ROOT / name, place / name)
    return place


def load_once() -> None:
    """Import here, before any child is made, what takes long and is none of ours."""
    for name in HEAVY:
        if find_spec(name) is not None:
            import_module(name)


def start(place: Path, tests: Sequence[str], broker: bool, most_s: int = LONGEST_S) -> int:
    """Run some tests in a copy, in a child that begins without any module of ours; its id."""
    child = os.fork()
    if child == 0:
        code = 70
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (most_s, most_s + 10))  # which ends it
            signal.alarm(most_s * WAIT)
            code = _run(place, tests, broker)
        finally:
            os._exit(code)
    return child


def _run(place: Path, tests: Sequence[str], broker: bool) -> int:
    """In a child, which is lost afterwards: the exit status of pytest."""
    said = os.open(place / SAID, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(said, 1)
    os.dup2(said, 2)
    os.chdir(place)
    os.environ["PYTHONPATH"] = str(place)
    for name in [name for name in sys.modules if name.partition(".")[0] in PARTS]:
        del sys.modules[name]
    sys.path[:] = [str(place), *(one for one in sys.path if not is_ours(one))]
    import pytest

    marks = "not slow" if broker else "not slow and not broker"
    plain = ["-x", "-q", "--no-header", "--tb=no", "--assert=plain", "-p", "no:cacheprovider"]
    return int(pytest.main([*plain, "--rootdir", str(place), "-m", marks, *tests]))


def is_ours(path: str) -> bool:
    """Whether a place where modules are looked for is this project's."""
    return Path(path or ".").resolve() in {ROOT, ROOT / "tests"}


def ended(status: int, place: Path) -> tuple[int, str]:
    """How a child ended, and the test that failed first or the last that was said."""
    code = os.waitstatus_to_exitcode(status)
    said = (place / SAID).read_text(encoding="utf-8", errors="replace") if code >= 0 else ""
    failed = [line for line in said.splitlines() if line.startswith("FAILED ")]
    if code == -signal.SIGXCPU:
        return 1, "it ran without an end"
    if code == -signal.SIGALRM:
        return code, "the machine had no time for it"
    if failed:
        return code, failed[0].removeprefix("FAILED ").split(" - ")[0]
    return code, said.strip()[-300:]


def judged(mutant: Mutant, code: int, said: str, seconds: float) -> Tried:
    """What an exit status says of a mutant."""
    outcome = {0: "survived", 1: "killed"}.get(code, "broken")
    return Tried(mutant=mutant, outcome=outcome, seconds=seconds, by=said if code else "")


def try_all(mutants: Sequence[Mutant], jobs: int, *, sure: bool = True) -> list[Tried]:
    """Try them, so many at a time, each in a copy of its own.

    Args:
        mutants: to be tried.
        jobs: how many at a time.
        sure: whether to run all tests without any change first.

    Raises:
        RuntimeError: they fail without any change.
        ValueError: a mutant does not fit its file.
    """
    load_once()
    with tempfile.TemporaryDirectory() as room:
        places = [copy_tree(Path(room) / str(job)) for job in range(jobs)]
        for broker in (False, True) if sure else ():
            tests = {test for one in mutants if one.broker is broker for test in nearest(one)}
            if tests:
                _, status = os.waitpid(start(places[0], sorted(tests), broker, ALL_S), 0)
                code, said = ended(status, places[0])
                if code != 0:
                    message = f"unchanged, these tests fail already: {said}"
                    raise RuntimeError(message)
        return _try_in(mutants, places)


def _try_in(mutants: Sequence[Mutant], places: list[Path]) -> list[Tried]:
    """Try them in copies that are there; each file is put back."""
    waiting, found = list(reversed(mutants)), {}
    running: dict[int, tuple[Mutant, Path, str, float]] = {}
    while waiting or running:
        while waiting and places:
            mutant, place = waiting.pop(), places.pop()
            text = (place / mutant.file).read_text(encoding="utf-8")
            put(place / mutant.file, changed(text, mutant))
            child = start(place, nearest(mutant), mutant.broker)
            running[child] = (mutant, place, text, time.monotonic())
        child, status = os.wait()
        mutant, place, text, began_s = running.pop(child)
        code, said = ended(status, place)
        found[mutant] = judged(mutant, code, said, time.monotonic() - began_s)
        put(place / mutant.file, text)
        places.append(place)
        sys.stderr.write(line_of(found[mutant]) + "\n")
    return [found[one] for one in mutants]


def line_of(tried: Tried) -> str:
    """One line for people."""
    one = tried.mutant
    what = " ".join(one.old.split())[:70]
    hazards = " ".join(one.hazards)
    said = f" by {tried.by}" if tried.by else ""
    return f"{tried.outcome:8} {hazards:8} {one.file}: {what} ({tried.seconds:.0f} s){said}"


def report(tried: Sequence[Tried], left_out: int, as_json: bool) -> str:
    """All of them, and the counts."""
    rows = [
        {
            "hazards": list(one.mutant.hazards),
            "file": one.mutant.file,
            "old": one.mutant.old,
            "new": one.mutant.new,
            "outcome": one.outcome,
            "by": one.by,
            "seconds": round(one.seconds, 1),
        }
        for one in tried
    ]
    killed = sum(one.good for one in tried)
    covered = {name for one in tried if one.good for name in one.mutant.hazards}
    if as_json:
        told = {"killed": killed, "mutants": len(tried), "left_out": left_out, "rows": rows}
        return json.dumps(told, indent=1)
    without = [name for name in hazard_table.IDS if name not in covered]
    text = f"{killed} of {len(tried)} killed, {left_out} left out; {len(covered)} hazards"
    text += f"; without a mutant here: {', '.join(without)}"
    return "\n".join([*(line_of(one) for one in tried if not one.good), text])


def main() -> int:
    """The command."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--jobs", type=int, default=max(1, (os.cpu_count() or 1)), help="at a time")
    parser.add_argument("--hazard", action="append", help="only those of this one")
    parser.add_argument("--no-broker", action="store_true", help="leave out what needs a broker")
    parser.add_argument("--quick", action="store_true", help="do not run them unchanged first")
    parser.add_argument("--json", action="store_true", help="for programs")
    asked = parser.parse_args()
    chosen = [one for one in MUTANTS if not asked.hazard or set(asked.hazard) & set(one.hazards)]
    here = [one for one in chosen if not (asked.no_broker and one.broker)]
    tried = try_all(here, max(1, asked.jobs), sure=not asked.quick)
    sys.stdout.write(report(tried, len(chosen) - len(here), asked.json) + "\n")
    return 0 if all(one.good for one in tried) else 1


if __name__ == "__main__":
    sys.exit(main())
