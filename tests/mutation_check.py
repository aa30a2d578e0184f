"""Each number of the agronomy made one hundredth larger, one at a time: do the tests notice?

    python tests/mutation_check.py [--json] [--module NAME] [--inline] [--jobs N] [--tests FILE]

A mutant is one number of one module of `controller/agronomy`, or of `crops.toml`, times 1.01. The
reference tests of whatever imports that module run against it until the first that fails: then the
mutant is *caught*, else it *survived*. Known survivors stand below with the reason.

What counts as a number, and what does not:

- every float literal in a module-level assignment, in tuples, dicts and calls too (named), and each
  number of `crops.toml`, in arrays too;
- with `--inline` also the float literals inside functions and classes: the formulas' own;
- not: ints, for here they are counts, sizes, days and indices (a size of 2.02 is nothing); 0.0,
  which one hundredth does not move; and, inline, 1.0, which there is the bound of a share or the
  one of a formula such as `1 - x`.

The tests that run are those of `tests/reference` that import the module, or another module of the
agronomy that does; without `test_season_*` and `test_sim_*`, which judge the simulator and take
minutes. Needs `fork`. Exit 0: every survivor is listed and they are at most 5 % of the named.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import re
import sys
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import import_module
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, SourceFileLoader
from importlib.util import find_spec, spec_from_file_location
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
AGRONOMY = ROOT / "controller" / "agronomy"
TABLE = "crops.toml"
FACTOR = 1.01
MOST_SURVIVORS = 0.05
LEFT_OUT = ("test_season_", "test_sim_")
HEAVY = ("pytest", "hypothesis", "numpy", "pandas", "pyet", "refet", "ptfkit", "pedon", "astral")

# Mutants that no reference test can or should notice, each with the reason.
# So far none is named: all that stand here are inside formulas.
SMALL = "a small term of the sun's path: a hundredth of it is less than 0.1 s of the day"
SURVIVORS: dict[str, str] = {
    "eto_hourly:_radiation_around_mj_m2_h[1]": "a bound: there is no longitude beyond it",
    "eto_hourly:_radiation_around_mj_m2_h[2]": "a bound: there is no longitude beyond it",
    **{
        f"sun:sun_at[{place}]": SMALL
        for place in (3, 7, 10, 11, 13, 14, 17, 18, 19, 20, 22, 23, 26)
    },
}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One number that is changed: of which file, its name there, and its place."""

    module: str
    name: str
    place: int | tuple[str, ...]
    value: float
    named: bool

    @property
    def key(self) -> str:
        """As in the table of survivors."""
        return f"{self.module}:{self.name}"


def is_number(node: ast.AST) -> bool:
    """Whether a node is a float literal that one hundredth moves."""
    return isinstance(node, ast.Constant) and type(node.value) is float and node.value != 0.0


def floats(node: ast.AST) -> list[ast.Constant]:
    """The numbers of a piece of source, in the order in which they stand."""
    found = [one for one in ast.walk(node) if isinstance(one, ast.Constant) and is_number(one)]
    return sorted(found, key=lambda one: (one.lineno, one.col_offset))


def parts(statement: ast.stmt) -> list[tuple[str, bool, ast.AST]]:
    """What a module-level statement holds: a name, whether it is a constant, and the source."""
    if isinstance(statement, ast.AnnAssign):
        return [(ast.unparse(statement.target), True, statement)]
    if isinstance(statement, ast.Assign):
        target, value = statement.targets[0], statement.value
        if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
            pairs = zip(target.elts, value.elts, strict=True)
            return [(ast.unparse(name), True, one) for name, one in pairs]
        return [(ast.unparse(target), True, statement)]
    return [(getattr(statement, "name", "?"), False, statement)]


def numbers_of(module: str, tree: ast.Module) -> Iterator[Mutant]:
    """The mutants of one module, in the order in which they stand."""
    place = -1
    for name, named, source in (part for statement in tree.body for part in parts(statement)):
        found = floats(source)
        for index, node in enumerate(found, start=1):
            place += 1
            value = float(node.value)  # type: ignore[arg-type]
            if named or value != 1.0:
                full = f"{name}[{index}]" if len(found) > 1 else name
                yield Mutant(module, full, place, value, named)


def numbers_of_table(rows: dict[str, Any]) -> Iterator[Mutant]:
    """The mutants of the crop table."""
    for crop, row in rows.items():
        for key, value in row.items():
            many = value if isinstance(value, list) else [value]
            for index, one in enumerate(many):
                if isinstance(one, float):
                    part = (str(index),) if isinstance(value, list) else ()
                    name = ".".join((crop, key, *part))
                    yield Mutant(TABLE, name, (crop, key, *part), one, named=True)


def mutants(module: str) -> list[Mutant]:
    """All mutants of a module or of the crop table."""
    text = (AGRONOMY / (module if module == TABLE else f"{module}.py")).read_text(encoding="utf-8")
    if module == TABLE:
        return list(numbers_of_table(tomllib.loads(text)))
    return list(numbers_of(module, ast.parse(text)))


# -- which tests


def imports_of(path: Path) -> set[str]:
    """The modules of the agronomy that a file imports."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module == "controller.agronomy":
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith(
            "controller.agronomy."
        ):
            found.add((node.module or "").rpartition(".")[2])
    return found


def users_of(module: str) -> set[str]:
    """A module and all of the agronomy that imports it, at whatever remove."""
    needs = {path.stem: imports_of(path) for path in AGRONOMY.glob("*.py")}
    found, size = {module}, 0
    while len(found) > size:
        size = len(found)
        found |= {name for name, imported in needs.items() if imported & found}
    return found


def tests_of(module: str) -> list[Path]:
    """The reference tests that can notice, those that import the module itself first."""
    users = users_of("crop" if module == TABLE else module)
    files = [
        path
        for path in sorted((ROOT / "tests" / "reference").glob("test_*.py"))
        if not path.name.startswith(LEFT_OUT) and imports_of(path) & users
    ]
    return sorted(files, key=lambda path: (module not in imports_of(path), path.stat().st_size))


# -- one mutant


class _Loader(SourceFileLoader):
    """Loads a module's source with one number changed, past the cache of compiled code."""

    place: int = -1

    def get_code(self, fullname: str) -> CodeType:
        path = self.get_filename(fullname)
        tree = ast.parse(self.get_data(path))
        nodes = [n for one in tree.body for _, _, part in parts(one) for n in floats(part)]
        if self.place >= 0:
            nodes[self.place].value *= FACTOR  # type: ignore[operator]
        return compile(tree, path, "exec")


class _Finder(MetaPathFinder):
    """Finds one module of the agronomy, changed."""

    def __init__(self, mutant: Mutant) -> None:
        self.mutant = mutant

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if fullname != f"controller.agronomy.{self.mutant.module}":
            return None
        file = AGRONOMY / f"{self.mutant.module}.py"
        loader = _Loader(fullname, str(file))
        loader.place = self.mutant.place if isinstance(self.mutant.place, int) else -1
        return spec_from_file_location(fullname, file, loader=loader)


def change_table(mutant: Mutant) -> None:
    """Let `tomllib` read the crop table with one number changed."""
    read = tomllib.loads
    crop, key, *part = mutant.place if isinstance(mutant.place, tuple) else ()

    def changed(text: str, **options: Any) -> dict[str, Any]:
        rows = read(text, **options)
        if crop in rows and key in rows[crop]:
            if part:
                rows[crop][key][int(part[0])] *= FACTOR
            else:
                rows[crop][key] *= FACTOR
        return rows

    tomllib.loads = changed


def run(mutant: Mutant | None, files: list[Path]) -> int:
    """In this process, which is lost afterwards: the exit code of pytest."""
    import pytest

    if mutant is not None and mutant.module == TABLE:
        change_table(mutant)
    elif mutant is not None:
        sys.meta_path.insert(0, _Finder(mutant))
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    # without plugins, the project's settings and rewritten asserts a run takes half a second
    bare = ["-c", os.devnull, "--rootdir", str(ROOT), "--import-mode=importlib", "--assert=plain"]
    options = ["-x", "-q", "--no-header", "--tb=no", "-p", "no:cacheprovider", "-m", "not slow"]
    return int(pytest.main([*bare, *options, *map(str, files)]))


def start(mutant: Mutant | None, files: list[Path]) -> int:
    """Run in a child; its process id."""
    child = os.fork()
    if child == 0:
        code = 70
        try:
            code = run(mutant, files)
        finally:
            os._exit(code)
    return child


def load_once(files: list[Path]) -> None:
    """Import here, before any child is made, what these files take long to import."""
    text = "".join(path.read_text(encoding="utf-8") for path in files)
    for name in HEAVY:
        if re.search(rf"(?:import |from |\"){name}\b", text) and find_spec(name) is not None:
            import_module(name)


def judge(found: list[Mutant], files: list[Path], jobs: int) -> dict[Mutant, bool]:
    """Whether each mutant was caught.

    Raises:
        RuntimeError: the tests fail without any change, or pytest itself went wrong.
    """
    if os.waitstatus_to_exitcode(os.waitpid(start(None, files), 0)[1]) != 0:
        message = f"unchanged, these tests fail already: {[path.name for path in files]}"
        raise RuntimeError(message)
    running: dict[int, Mutant] = {}
    caught: dict[Mutant, bool] = {}
    waiting = list(reversed(found))
    while waiting or running:
        while waiting and len(running) < jobs:
            mutant = waiting.pop()
            running[start(mutant, files)] = mutant
        child, status = os.wait()
        mutant, code = running.pop(child), os.waitstatus_to_exitcode(status)
        if code not in (0, 1, 2):  # 2: the changed module could not even be imported
            message = f"{mutant.key}: pytest went wrong, exit {code}"
            raise RuntimeError(message)
        caught[mutant] = code != 0
    return {mutant: caught[mutant] for mutant in found}


# -- the command


def report(caught: dict[Mutant, bool], as_json: bool) -> str:
    """What was found, for people or for programs."""
    lost = [mutant for mutant, seen in caught.items() if not seen]
    named = [mutant for mutant in caught if mutant.named]
    told = {
        "mutants": len(caught),
        "caught": len(caught) - len(lost),
        "named": len(named),
        "named_survived": sum(not caught[mutant] for mutant in named),
        "survivors": {one.key: SURVIVORS.get(one.key, "not listed") for one in lost},
    }
    if as_json:
        return json.dumps(told, indent=1)
    lines = [f"{told['caught']} of {told['mutants']} caught; named: {len(named)}, "]
    lines[0] += f"survived {told['named_survived']}"
    lines += [f"survived {one.key} = {one.value}: {told['survivors'][one.key]}" for one in lost]  # type: ignore[index]
    return "\n".join(lines)


def is_good(caught: dict[Mutant, bool]) -> bool:
    """Whether every survivor is listed, and the named ones are few."""
    lost = [mutant for mutant, seen in caught.items() if not seen]
    named = sum(mutant.named for mutant in caught)
    few = sum(mutant.named for mutant in lost) <= MOST_SURVIVORS * named
    return few and all(mutant.key in SURVIVORS for mutant in lost)


def main() -> int:
    """The command."""
    modules = sorted(p.stem for p in AGRONOMY.glob("*.py") if p.stem != "__init__")
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.add_argument("--inline", action="store_true", help="the numbers in formulas too")
    parser.add_argument("--module", action="append", choices=[*modules, TABLE], help="only this")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="at a time")
    parser.add_argument("--tests", action="append", type=Path, help="these files, not the rule's")
    asked = parser.parse_args()
    os.chdir(ROOT)
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    sys.path.insert(0, str(ROOT))
    caught: dict[Mutant, bool] = {}
    for module in asked.module or [*modules, TABLE]:
        found = [one for one in mutants(module) if one.named or asked.inline]
        files = [path.resolve() for path in asked.tests or tests_of(module)]
        load_once(files)
        caught |= judge(found, files, max(1, asked.jobs)) if found else {}
    sys.stdout.write(report(caught, asked.json) + "\n")
    return 0 if is_good(caught) else 1


if __name__ == "__main__":
    sys.exit(main())
