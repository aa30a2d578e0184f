"""Public functions of the agronomy say their units and source, and no module is too long."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

AGRONOMY = Path(__file__).parents[2] / "controller" / "agronomy"
FILES = sorted(path for path in AGRONOMY.glob("*.py") if path.stem != "__init__")
LINES_MOST = 400


def functions(path: Path) -> list[ast.FunctionDef]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [
        node
        for node in tree.body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    ]


def silent(node: ast.FunctionDef) -> list[str]:
    """What a docstring lacks: returns, source, and each argument by its name."""
    told = ast.get_docstring(node) or ""
    arguments = [one.arg for one in (*node.args.args, *node.args.kwonlyargs)]
    wanted = ["Returns:", "Source:", *(f"    {name}: " for name in arguments)]
    return [one for one in wanted if one not in told]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_public_function_says_its_arguments_result_and_source(path: Path) -> None:
    lacking = {node.name: lack for node in functions(path) if (lack := silent(node))}
    assert lacking == {}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_module_of_the_agronomy_is_short_enough(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LINES_MOST
