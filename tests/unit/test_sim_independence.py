"""The world that judges the controller knows nothing of how the controller thinks."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

SIM = Path(__file__).parents[2] / "sim"
OWN = ("plant", "fruit", "bed_truth", "world", "draws", "probe_truth")
TRUTH = sorted({*(path.stem for path in SIM.glob("soil_*.py")), *OWN})
MAY_KNOW = {"controller.errors"}


def named(source: str) -> set[str]:
    """Every module that a text imports, wherever in it the import stands, with what is taken."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            whole = {f"{base}.{alias.name}" for alias in node.names}
            found |= {base} if base != "controller" else whole
    return found


def of_controller(source: str) -> set[str]:
    return {name for name in named(source) if name.split(".")[0] == "controller"}


def below(name: str) -> set[str]:
    """A module of the simulator and all of its own that it stands on."""
    found, todo = set(), [name]
    while todo:
        here = todo.pop()
        if here in found:
            continue
        found.add(here)
        source = (SIM / f"{here}.py").read_text(encoding="utf-8")
        todo += [other.split(".")[1] for other in named(source) if other.startswith("sim.")]
    return found


def test_the_truth_is_all_there() -> None:
    assert {"soil_column", "soil_curve", "soil_making", *OWN} <= set(TRUTH)


@pytest.mark.parametrize("name", TRUTH)
def test_the_truth_imports_only_errors_of_the_controller(name: str) -> None:
    source = (SIM / f"{name}.py").read_text(encoding="utf-8")
    assert of_controller(source) <= MAY_KNOW


@pytest.mark.parametrize("name", TRUTH)
def test_nothing_below_the_truth_uses_the_controllers_agronomy(name: str) -> None:
    for other in sorted(below(name)):
        source = (SIM / f"{other}.py").read_text(encoding="utf-8")
        assert of_controller(source) <= MAY_KNOW, other


@pytest.mark.parametrize(
    "line",
    [
        pytest.param("from controller.agronomy.soil import soil_class", id="from"),
        pytest.param("import controller.agronomy.crop", id="import"),
        pytest.param("from controller import agronomy", id="package"),
        pytest.param("def f():\n    from controller.garden import Bed", id="inside"),
    ],
)
def test_a_forbidden_import_would_be_seen(line: str) -> None:
    assert not of_controller(line) <= MAY_KNOW
