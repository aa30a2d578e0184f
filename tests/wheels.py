"""Does every run-time dependency come as a wheel, for small boards too? Asks pip's index.

    python tests/wheels.py [--machine armv7l] [--python 3.13] [--extra demo] [--markdown]

Resolves `pyproject.toml` for Linux of the GNU C library on aarch64 and armv7l, for CPython 3.11,
3.12 and 3.13, with source packages forbidden, and downloads nothing but what tells names and
needs. What pip itself asks (its configuration, an index of one's own) holds here too, so run it
where only the public index is set: an index that builds for one board proves nothing for others.
Exit 1 where anything is missing. Takes minutes; not part of the build.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
MACHINES = ("aarch64", "armv7l")
PYTHONS = ("3.11", "3.12", "3.13")
GLIBC = ("_2_17", "2014", "_2_28", "_2_31", "_2_34", "_2_35")  # Debian 12 has 2.36
PURE = "-none-any.whl"


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolved:
    """What came of one machine and one Python.

    Attributes:
        wheels: file names; empty where it does not resolve.
        fault: pip's last words where it does not.
    """

    wheels: tuple[str, ...]
    fault: str

    @property
    def compiled(self) -> list[str]:
        """The wheels that are made for this machine."""
        return [name for name in self.wheels if not name.endswith(PURE)]


def wanted(extra: str | None) -> list[str]:
    """The dependencies, those of an extra besides."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    more = project["optional-dependencies"][extra] if extra else []
    return [*project["dependencies"], *more]


def words(machine: str, python: str, names: list[str], report: Path) -> list[str]:
    """Pip's command: resolve for another machine, wheels only, install nothing."""
    found = [sys.executable, "-m", "pip", "install", "--quiet", "--dry-run", "--ignore-installed"]
    found += ["--only-binary=:all:", "--target", str(report.parent / "nowhere")]
    found += ["--report", str(report), "--implementation", "cp", "--python-version", python]
    for tag in GLIBC:
        found += ["--platform", f"manylinux{tag}_{machine}"]
    for abi in (f"cp{python.replace('.', '')}", "abi3", "none"):
        found += ["--abi", abi]
    return [*found, *names]


def resolve(machine: str, python: str, names: list[str]) -> Resolved:
    """Ask for one machine and one Python."""
    with tempfile.TemporaryDirectory() as place:
        report = Path(place) / "report.json"
        done = subprocess.run(
            words(machine, python, names, report), capture_output=True, text=True, check=False
        )
        if done.returncode != 0:
            lines = [line for line in done.stderr.splitlines() if line.startswith("ERROR")]
            return Resolved(wheels=(), fault=lines[-1] if lines else done.stderr[-300:])
        rows = json.loads(report.read_text(encoding="utf-8"))["install"]
    urls = [str(row["download_info"]["url"]).partition("#")[0] for row in rows]
    return Resolved(wheels=tuple(sorted(url.rsplit("/", 1)[1] for url in urls)), fault="")


def main() -> int:
    """The command."""
    parser = argparse.ArgumentParser(description="Asks whether all dependencies come as wheels.")
    parser.add_argument("--machine", choices=MACHINES, action="append")
    parser.add_argument("--python", choices=PYTHONS, action="append")
    parser.add_argument("--extra", default=None)
    parser.add_argument("--markdown", action="store_true", help="as the table of board.md")
    told = parser.parse_args()
    machines, pythons = told.machine or MACHINES, told.python or PYTHONS
    names, lost, rows = wanted(told.extra), 0, []
    for machine in machines:
        cells = []
        for python in pythons:
            found = resolve(machine, python, names)
            lost += not found.wheels
            cells.append(f"all {len(found.wheels)}" if found.wheels else "none")
            if not told.markdown:
                compiled = ", ".join(found.compiled) or "none"
                what = found.fault or f"{cells[-1]} as wheels; made for this machine: {compiled}"
                sys.stdout.write(f"{machine}, Python {python}: {what}\n")
                sys.stdout.flush()
        rows.append(f"| {machine} | {' | '.join(cells)} |")
    if told.markdown:
        head = (
            f"| | {' | '.join(f'Python {one}' for one in pythons)} |\n|---{'|---' * len(pythons)}|"
        )
        sys.stdout.write("\n".join([head, *rows]) + "\n")
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main())
