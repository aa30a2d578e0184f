"""The hazards, what Thirstline does about each, and the tests that show it: a table in the docs.

    python tests/hazard_table.py [--check]

Reads `tests/hazards/hazards.toml` and the marks `@pytest.mark.hazard("P1", ...)` of all tests, and
writes `hardware_notes/hazards.md`. With `--check` it writes nothing and ends with 1 where the file
is another one. Marks are read from the source, so nothing is imported and nothing runs.
"""

from __future__ import annotations

import argparse
import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
TESTS = ROOT / "tests"
DATA = TESTS / "hazards" / "hazards.toml"
TABLE = ROOT / "hardware_notes" / "hazards.md"
COUNTS = {"P": 12, "V": 12, "M": 6, "B": 10, "C": 7, "T": 4, "S": 5, "K": 2, "H": 3, "N": 3, "E": 6}
IDS = [f"{kind}{n}" for kind, most in COUNTS.items() for n in range(1, most + 1)]
EVIDENCE = {
    "property": "property",
    "end_to_end": "wire",
    "faults": "disk",
    "scripts": "property",
    "browser": "page",
}
HEAD = """# Hazards, and what is done about them

Made by `python tests/hazard_table.py` from `tests/hazards/hazards.toml` and the marks of the tests;
do not edit it here. *Evidence*: **unit** and **property** run the engine among virtual nodes in one
process, **disk** a real database, **wire** the daemon over a real broker; **hardware** is what no
program can do or prove: check it on the bench and at the walk. *Not built* says what is missing of
a reaction. This is not a certified safety controller.

"""
COLUMNS = "| | what goes wrong | what happens then | evidence | shown by |\n|---|---|---|---|---|\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """One hazard as the data file has it."""

    name: str
    what: str
    does: str
    hardware: str = ""
    missing: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A test that carries a hazard's id."""

    file: str  # below tests/
    test: str

    @property
    def evidence(self) -> str:
        """What kind of proof it is."""
        return EVIDENCE.get(self.file.split("/", 1)[0], "unit")


def hazards() -> dict[str, Hazard]:
    """What the data file says, in its order."""
    rows = tomllib.loads(DATA.read_text(encoding="utf-8"))
    return {name: Hazard(name=name, **row) for name, row in rows.items()}


def _ids_of(decorators: list[ast.expr]) -> Iterator[str]:
    for one in decorators:
        if isinstance(one, ast.Call) and ast.unparse(one.func) == "pytest.mark.hazard":
            yield from (arg.value for arg in one.args if isinstance(arg, ast.Constant))


@cache
def marks(root: Path = TESTS) -> dict[str, list[Shown]]:
    """All marks of all tests, by hazard; files and tests in order."""
    found: dict[str, list[Shown]] = {}
    for path in sorted(root.rglob("test_*.py")):
        text = path.read_text(encoding="utf-8")
        if "mark.hazard" not in text:
            continue
        for node in ast.parse(text).body:
            if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                shown = Shown(file=path.relative_to(root).as_posix(), test=node.name)
                for name in _ids_of(node.decorator_list):
                    found.setdefault(name, []).append(shown)
    return found


def evidence(hazard: Hazard, shown: list[Shown]) -> str:
    """By what kinds of proof a hazard is covered."""
    kinds = [kind for kind in ("unit", "property", "disk", "wire", "page") if _has(shown, kind)]
    kinds += ["hardware"] if hazard.hardware else []
    return ", ".join(kinds) or "**none**"


def _has(shown: list[Shown], kind: str) -> bool:
    return any(one.evidence == kind for one in shown)


def _row(hazard: Hazard, shown: list[Shown]) -> str:
    does = hazard.does
    does += f". *Hardware:* {hazard.hardware}" if hazard.hardware else ""
    does += f". *Not built:* {hazard.missing}" if hazard.missing else ""
    tests = "<br>".join(f"[{one.test[5:]}](../tests/{one.file})" for one in shown)
    columns = (f"**{hazard.name}**", hazard.what, does, evidence(hazard, shown), tests)
    return "| " + " | ".join(columns) + " |\n"


def counts(known: dict[str, Hazard], shown: dict[str, list[Shown]]) -> str:
    """How many hazards have tests, need hardware, or lack something."""
    tested = sum(bool(shown.get(name)) for name in known)
    hardware = sum(bool(one.hardware) for one in known.values())
    missing = [name for name, one in known.items() if one.missing]
    untested = [name for name in known if not shown.get(name)]
    text = f"{len(known)} hazards: {tested} with a test, {hardware} that also need hardware"
    text += (
        f", {len(missing)} of which a part is not built ({', '.join(missing)})" if missing else ""
    )
    text += f", {len(untested)} without any test ({', '.join(untested)})" if untested else ""
    return text + "."


def table() -> str:
    """The whole document."""
    known, shown = hazards(), marks()
    rows = "".join(_row(one, shown.get(name, [])) for name, one in known.items())
    return HEAD + counts(known, shown) + "\n\n" + COLUMNS + rows


def faults() -> list[str]:
    """What does not fit between the data file and the marks."""
    known, shown = hazards(), marks()
    found = [f"{name}: no such hazard" for name in shown if name not in known]
    if list(known) != IDS:
        found.append(f"the hazards are not {len(IDS)} in order: {set(IDS) ^ set(known)}")
    for name, one in known.items():
        if not shown.get(name) and not one.missing:
            found.append(f"{name}: neither a test nor a word on what is missing")
        if re.search(r"[|\n]", one.what + one.does + one.hardware + one.missing):
            found.append(f"{name}: a bar or a line end would break the table")
    return found


def main() -> int:
    """The command."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--check", action="store_true", help="write nothing, say whether it is so")
    asked = parser.parse_args()
    wrong = faults()
    for one in wrong:
        sys.stderr.write(one + "\n")
    text = table()
    if asked.check:
        same = TABLE.exists() and TABLE.read_text(encoding="utf-8") == text
        return 0 if same and not wrong else 1
    TABLE.write_text(text, encoding="utf-8")
    sys.stdout.write(counts(hazards(), marks()) + "\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
