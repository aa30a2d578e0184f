"""The table of the doors in the developers' notes is whole, and each test it names is there."""

import ast
import re
from pathlib import Path

from controller.garden_ways import Page

ROOT = Path(__file__).parents[2]
HEADING = "## The doors"
# what would let the web fetch something that a caller names, and who may all the same
FETCHES = {"urllib.request", "http.client", "smtplib", "ftplib", "asyncio.subprocess", "subprocess"}
MAY_FETCH = {"look.py"}  # the shell's own calls to the daemon


def _tests() -> set[str]:
    return {
        node.name
        for path in (ROOT / "tests").rglob("test_*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    }


def test_each_of_the_ten_risks_has_its_row_and_its_tests() -> None:
    notes = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    _, found, rest = notes.partition(f"\n{HEADING}\n")
    assert found, f"no heading {HEADING!r}"
    rows = re.findall(r"^\| API(\d+) .*$", rest, re.MULTILINE)
    assert [int(number) for number in rows] == list(range(1, 11))
    told = re.findall(r"^\| API\d+ .*\| ([^|]+) \|$", rest, re.MULTILINE)
    named = [set(re.findall(r"`(test_\w+)`", row)) for row in told]
    assert all(named), "a row without a test"
    assert set().union(*named) <= _tests()


def test_the_web_fetches_nothing_that_a_caller_names() -> None:
    """API7: server-side request forgery."""
    found = set()
    for path in (ROOT / "api").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom) and node.module:
                names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
            if FETCHES & set(names):
                found.add(path.name)
    assert found == MAY_FETCH


def test_the_page_listens_on_the_machine_itself_unless_told_otherwise() -> None:
    """API8: what stands open by default."""
    page = Page()
    assert page.on_loopback
    assert page.host == "127.0.0.1"
