"""The house rules that a syntax tree can see: layers, circles, lengths of files and functions."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("controller", "sim", "api")
MAY_IMPORT = {
    "controller": {"controller"},
    "sim": {"sim", "controller"},
    "api": {"api", "sim", "controller"},
}
MOST_FILE_LINES = 400
MOST_FUNCTION_LINES = 40


def sources() -> dict[str, Path]:
    """Every module of the three packages by its dotted name."""
    found = {}
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


SOURCES = sources()


def imported(tree: ast.AST, known: set[str]) -> set[str]:
    """The modules of ours that a module imports, wherever in it the import stands."""
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports name the whole module"
            base = node.module or ""
            inner = {f"{base}.{alias.name}" for alias in node.names}
            found |= (inner & known) or {base}
    return {name for name in found if name.split(".")[0] in PACKAGES}


def circle(graph: dict[str, set[str]]) -> list[str]:
    """A circle of imports, empty where there is none."""
    done: set[str] = set()

    def walk(name: str, way: list[str]) -> list[str]:
        if name in way:
            return [*way[way.index(name) :], name]
        if name in done:
            return []
        for after in sorted(graph.get(name, set())):
            found = walk(after, [*way, name])
            if found:
                return found
        done.add(name)
        return []

    return next(filter(None, (walk(name, []) for name in sorted(graph))), [])


def length_without_docstring(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from `def` to the end, the docstring left out."""
    lines = (node.end_lineno or node.lineno) - node.lineno + 1
    first = node.body[0]
    if ast.get_docstring(node, clean=False) is not None:
        lines -= (first.end_lineno or first.lineno) - first.lineno + 1
    return lines


@pytest.fixture(scope="module")
def trees() -> dict[str, ast.Module]:
    return {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in SOURCES.items()}


def test_all_three_packages_were_found() -> None:
    assert {name.split(".")[0] for name in SOURCES} == set(PACKAGES)
    assert len(SOURCES) > 20


def test_each_layer_imports_only_what_lies_below(trees: dict[str, ast.Module]) -> None:
    wrong = [
        f"{name} imports {other}"
        for name, tree in trees.items()
        for other in sorted(imported(tree, set(trees)))
        if other.split(".")[0] not in MAY_IMPORT[name.split(".")[0]]
    ]
    assert wrong == []


def test_every_import_of_ours_names_a_module_that_exists(trees: dict[str, ast.Module]) -> None:
    wrong = [
        f"{name} imports {other}"
        for name, tree in trees.items()
        for other in sorted(imported(tree, set(trees)) - set(trees))
    ]
    assert wrong == []


def test_no_modules_import_each_other_in_a_circle(trees: dict[str, ast.Module]) -> None:
    graph = {name: imported(tree, set(trees)) - {name} for name, tree in trees.items()}
    assert circle(graph) == []


def test_a_circle_would_be_seen() -> None:
    assert circle({"a": {"b"}, "b": {"c"}, "c": {"a"}}) == ["a", "b", "c", "a"]
    assert circle({"a": {"b", "c"}, "b": {"c"}, "c": set()}) == []


@pytest.mark.parametrize("name", SOURCES)
def test_a_file_stays_within_400_lines(name: str) -> None:
    assert len(SOURCES[name].read_text(encoding="utf-8").splitlines()) <= MOST_FILE_LINES


def test_functions_stay_within_40_lines(trees: dict[str, ast.Module]) -> None:
    long = [
        f"{name}.{node.name}: {length_without_docstring(node)}"
        for name, tree in trees.items()
        for node in ast.walk(tree)
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))
        and length_without_docstring(node) > MOST_FUNCTION_LINES
    ]
    assert long == []


def test_only_tests_use_assert(trees: dict[str, ast.Module]) -> None:
    found = [
        f"{name} line {node.lineno}"
        for name, tree in trees.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Assert)
    ]
    assert found == []
