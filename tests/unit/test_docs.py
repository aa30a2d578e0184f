"""The documents are true to the code: names, numbers of tests, links and commands."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

import click
import pytest
from pydantic import BaseModel

from api import page
from api.cli import main
from api.desk import FakeDesk
from api.http import create_app
from api.page.advice import ADVICE
from controller.agronomy.crop import LINES_FRAC
from controller.alarming.codes import ALERTS, AlertCode, AtNight
from controller.blindness import DOUBTS
from controller.garden import Garden, load_garden
from controller.watering.decision import Reason
from controller.watering.guard import LATCHING
from controller.watering.limits import Refused
from sim.examples import find_garden
from sim.replay import POLICIES
from sim.weather import season_names
from tests.printed import OURS, QUANTITY, TEST, checks, is_printed, numbers

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
DOCUMENTS = (
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "hardware_notes/README.md",
    "hardware_notes/board.md",
    "hardware_notes/first_day.md",
    "hardware_notes/hazards.md",
    "hardware_notes/installing.md",
)
BOTH = README + DEVELOPERS
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
CHECKS_LEAST = 12

LEFT_OUT = {"build", "dist", "__pycache__"}
DOTTED = {".ci", ".gitignore"}
TEXT = {".md", ".py", ".toml", ".html", ".css", ".js", ".csv", ".json", ".txt", ".typed", ""}
# Put together here, so that this file does not hold them.
NOWHERE = ("assis" + "tant", "chat" + "bot")
NOT_IN_DOCUMENTS = (*NOWHERE, "sess" + "ion", "road" + "map")
MACHINE = tuple(name[::-1] for name in ("krow", "pmt", "toor"))
PLACES = re.compile(rf"(?<![\w.}}-])/(?:{'|'.join(MACHINE)})(?![\w-])")


def coded(text: str) -> set[str]:
    """Everything that stands in backticks outside code blocks."""
    return set(re.findall(r"`([^`\n]+)`", BLOCK.sub("", text)))


def section(text: str, heading: str) -> str:
    """What stands under a heading, up to the next one of the same rank or a higher one."""
    rank = len(heading) - len(heading.lstrip("#"))
    _, found, rest = text.partition(f"\n{heading}\n")
    assert found, f"no heading {heading!r}"
    return re.split(rf"^#{{1,{rank}}} ", rest, maxsplit=1, flags=re.MULTILINE)[0]


def anchors(path: Path) -> set[str]:
    """What a document's headings are called in links; a `#` in a block is no heading."""
    text = BLOCK.sub("", path.read_text(encoding="utf-8"))
    heads = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    return {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in heads}


def files() -> Iterator[Path]:
    """Every text file of the checkout; what tools leave behind is no part of it."""
    for path in sorted(ROOT.rglob("*")):
        parts = path.relative_to(ROOT).parts
        hidden = any(part.startswith(".") and part not in DOTTED for part in parts)
        built = any(part in LEFT_OUT or part.endswith(".egg-info") for part in parts)
        if path.is_file() and not hidden and not built and path.suffix in TEXT:
            yield path


# -- commands


def commands() -> dict[str, click.Command]:
    """Every command by its words; those of a group, and not the group itself."""
    found: dict[str, click.Command] = {}
    for name, command in main.commands.items():
        inner = command.commands if isinstance(command, click.Group) else {}
        found |= {f"{name} {word}": one for word, one in inner.items()} or {name: command}
    return found


@pytest.mark.parametrize("name", commands())
def test_every_command_has_a_row_with_all_its_options(name: str) -> None:
    told = section(README, "## Commands")
    rows = [row for row in told.splitlines() if row.startswith(f"| `thirstline {name}")]
    assert len(rows) == 1
    options = [
        opt
        for param in commands()[name].params
        if isinstance(param, click.Option)
        for opt in param.opts
        if opt.startswith("--")
    ]
    row_options = set(re.findall(r"--[a-z]+(?:-[a-z]+)*", rows[0]))
    assert row_options == set(options)


def test_no_row_names_a_command_that_is_not_there() -> None:
    code = " \n".join([*coded(BOTH), *(block for _, block in BLOCK.findall(BOTH))])
    told = set(re.findall(r"(?:^|[/`])thirstline ([a-z-]+)", code, re.MULTILINE))
    assert "demo" in told
    assert told <= set(main.commands)


def test_policies_and_seasons_are_named() -> None:
    assert set(POLICIES) <= coded(README)
    first, last = "seattle-2012", "seattle-2015"
    assert {first, last} <= coded(README)
    assert {name for name in season_names() if not name.startswith("seattle")} <= coded(README)


# -- HTTP, MQTT, the garden file


def api_routes() -> set[str]:
    """Method and path of every call, as the application describes itself."""
    paths = create_app(FakeDesk(), token="").openapi()["paths"]
    return {f"{method.upper()} {path}" for path, calls in paths.items() for method in calls}


def page_routes() -> set[str]:
    return {
        f"{method} {route.path}"  # type: ignore[attr-defined]
        for route in page.routes().routes
        for method in route.methods  # type: ignore[attr-defined]
    }


def test_every_call_is_in_the_readme_and_no_other() -> None:
    calls = set(re.findall(r"^\| `((?:GET|PUT|POST|DELETE) [^`]+)`", README, re.MULTILINE))
    assert calls == api_routes()
    assert len(calls) > 10


def test_every_route_of_the_page_is_in_the_developers_notes_and_no_other() -> None:
    told = set(re.findall(r"^\| `((?:GET|PUT|POST|DELETE) [^`]+)`", DEVELOPERS, re.MULTILINE))
    assert told == page_routes() | {"GET /docs", "GET /openapi.json"}


def topics() -> set[str]:
    """The usual topics, devices written as `<id>`."""
    garden = load_garden(find_garden("hollin-lane"))
    probe, valve = "wall-20", "south"
    found = [garden.topic("probe", probe).replace(probe, "<id>")]
    found += [garden.topic("meter", "main").replace("main", "<id>")]
    found += [garden.topic("weather", "mast").replace("mast", "<id>")]
    for kind in ("lease", "close", "state"):
        found.append(garden.topic(kind, valve).replace(valve, "<id>"))
    for own in ("outlook", "canary", "controller_state", "alert"):
        found.append(garden.topic(own))
    return {topic.removeprefix("thirstline/hollin-lane/") for topic in found}


def test_every_topic_has_a_row_and_no_other_has() -> None:
    rows = re.findall(r"^\| `([^`]+)` \|", section(README, "## MQTT"), re.MULTILINE)
    assert set(rows) == topics()


def models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    """Every model that stands in an annotation."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif get_origin(annotation) in {Union, UnionType, Annotated} or get_args(annotation):
        for part in get_args(annotation):
            yield from models_in(part)


def keys(model: type[BaseModel], seen: set[type[BaseModel]] | None = None) -> set[str]:
    """Every key of the garden file, the names of its tables included."""
    seen = seen if seen is not None else set()
    found: set[str] = set()
    if model in seen:
        return found
    seen.add(model)
    for name, field in model.model_fields.items():
        found.add(field.alias or name)
        for inner in models_in(field.annotation):
            found |= keys(inner, seen)
    return found


def test_every_key_of_the_garden_file_is_explained() -> None:
    told = section(README, "## Your garden file")
    words = set(re.findall(r"[a-z0-9_]+", " ".join(coded(told))))
    wanted = keys(Garden)
    assert {"calibration", "evidence", "tank_l", "to", "canary"} <= wanted
    assert wanted - words == set()


def test_the_packaged_garden_is_linked_and_the_shown_one_is_in_order(tmp_path: Path) -> None:
    assert "(sim/examples/hollin-lane.toml)" in README
    shown = [code for kind, code in BLOCK.findall(README) if kind == "toml" and "[garden]" in code]
    assert len(shown) == 1
    path = tmp_path / "backyard.toml"
    path.write_text(shown[0], encoding="utf-8")
    assert load_garden(path).beds["south"].plants == 24


# -- reasons, alerts, stages


def test_every_reason_has_a_row() -> None:
    rows = re.findall(r"^\| (`[^|]+) \|", section(README, "## What it says"), re.MULTILINE)
    named = {code for row in rows for code in re.findall(r"`([a-z_]+)`", row)}
    assert {reason.value for reason in Reason} <= named
    named_in_words = coded(section(README, "## What it says"))
    assert {refused.value for refused in Refused} <= named_in_words


def alert_codes(call: str = "raise_alert") -> set[str]:
    """First argument of every call: a plain string, a constant of its module, or a member."""
    found: set[str] = set()
    for path in sorted((ROOT / "controller").rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        named = {
            target.id: node.value.value
            for node in tree.body
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
            for target in node.targets
            if isinstance(target, ast.Name)
        }
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
                continue
            if node.func.attr == call:
                match node.args[0]:
                    case ast.Constant(value=value):
                        found.add(str(value))
                    case ast.Name(id=name) if name in named:
                        found.add(str(named[name]))
                    case ast.Attribute(value=ast.Name(id="AlertCode"), attr=name):
                        found.add(AlertCode[name].value)
                    case _:
                        assert call != "raise_alert", f"{path.name}:{node.lineno}"
    return found


def test_the_enumeration_holds_every_alert_that_is_raised_and_no_other() -> None:
    assert {code.value for code in AlertCode} == alert_codes() == set(ALERTS)
    assert alert_codes("end_alert") <= set(AlertCode)
    assert set(AlertCode) >= LATCHING | DOUBTS


def test_the_readmes_rows_of_alerts_are_the_enumerations_own_words() -> None:
    told = section(README, "### Alerts")
    rows = re.findall(r"^\| `([a-z_]+)` \| (.+?) \| (.+?) \|$", told, re.MULTILINE)
    ours = {code.value: (rule.raised_by, rule.ended_by) for code, rule in ALERTS.items()}
    assert {code: (raised, ended) for code, raised, ended in rows} == ours


def test_the_page_has_advice_for_every_alert_that_is_raised_and_for_no_other() -> None:
    assert set(ADVICE) == alert_codes()


def test_every_alert_that_is_raised_has_a_row_and_no_other_has() -> None:
    rows = re.findall(r"^\| `([a-z_]+)` \|", section(README, "### Alerts"), re.MULTILINE)
    assert len(rows) == len(set(rows)) > 10
    assert set(rows) == alert_codes()


def test_lines_and_floors_are_the_codes() -> None:
    told = section(README, "## How it decides")
    rows = re.findall(r"^\| (\w+) \| (\d+) % \| (\d+) % \|", told, re.MULTILINE)
    assert {(name, int(line), int(floor)) for name, line, floor in rows} == {
        (stage.value, round(100 * line), round(100 * floor))
        for stage, (line, floor) in LINES_FRAC.items()
    }


# -- the table of checks


def test_the_table_of_checks_is_long_enough() -> None:
    assert len(checks()) >= CHECKS_LEAST


@pytest.mark.parametrize("row", checks(), ids=lambda row: row[5].partition("::")[2].strip("`"))
def test_a_check_names_a_test_that_holds_its_published_number(row: tuple[str, ...]) -> None:
    _, _, published, _, _, where = row
    file, _, name = where.strip("`").partition("::")
    source = (ROOT / file).read_text(encoding="utf-8")
    tests = {n.name for n in ast.walk(ast.parse(source)) if isinstance(n, ast.FunctionDef)}
    assert name in tests
    for number in re.findall(r"^\d+(?:\.\d+)?", published):
        assert re.search(rf"(?<![\d.]){re.escape(number)}(?!\d)", source)


@pytest.mark.parametrize(
    "row",
    [row for row in checks() if re.match(r"\d", row[2])],
    ids=lambda row: row[5].partition("::")[2].strip("`"),
)
def test_what_the_table_gives_as_ours_lies_within_its_tolerance(row: tuple[str, ...]) -> None:
    published, ours = (float(row[n].split()[0]) for n in (2, 3))
    tolerance, percent = row[4].removesuffix(" %"), row[4].endswith("%")
    allowed = float(tolerance) * (published / 100.0 if percent else 1.0)
    assert ours == pytest.approx(published, abs=allowed)


def held(source: str) -> set[str]:
    """Quantities whose *Ours* a test file holds against what it works out."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.Call(
                func=ast.Name(id="assert_ours"), args=[ast.Constant(value=str(said)), *_]
            ):
                found.add(said)
            case ast.Assign(targets=[ast.Name(id="IN_README")], value=value):
                found.update(ast.literal_eval(value).values())
    return found


@pytest.mark.parametrize("row", [row for row in checks() if numbers(row[OURS])], ids=lambda r: r[0])
def test_every_number_that_the_table_gives_as_ours_is_worked_out(row: tuple[str, ...]) -> None:
    """By the file that the row names, which fails where the code gives other digits."""
    file = row[TEST].strip("`").partition("::")[0]
    assert row[QUANTITY] in held((ROOT / file).read_text(encoding="utf-8"))


def test_the_rows_without_a_number_of_ours_are_those_that_say_so() -> None:
    """What they say is their test's own verdict: it fails where they are not true."""
    said = {row[OURS].partition(" (")[0] for row in checks() if not numbers(row[OURS])}
    assert said == {"all within", "the same", "all raised"}


@pytest.mark.parametrize(
    ("value", "printed", "right"),
    [
        (0.329376, "0.328684", False),
        (0.328684, "0.328684", True),
        (5.7161, "5.716", True),
        (5.7165, "5.72", True),
        (5.7249, "5.716", False),
        (8.4e-5, "8e-5", True),
        (8.6e-5, "8e-5", False),
        (6.0e-10, "5e-10", False),
        (2.0e-10, "5e-10", True),
        (2.0e-11, "5e-10", False),
    ],
)
def test_a_number_is_held_to_its_printed_digits(value: float, printed: str, right: bool) -> None:
    assert is_printed(value, printed) is right


def test_the_numbers_of_a_cell_are_found() -> None:
    assert numbers("0.035 m3/m3 off at most, the three clays 0.069") == ["0.035", "0.069"]
    assert numbers("5e-10 mm/d off at most") == ["5e-10"]
    assert numbers("37 s off at most") == ["37"]
    assert numbers("all raised (40 on the first run)") == []


# -- links, blocks, words


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_relative_link_and_anchor_resolves(name: str) -> None:
    path = ROOT / name
    text = BLOCK.sub("", path.read_text(encoding="utf-8"))
    links = re.findall(r"\]\(([^)\s]+)\)", text)
    inside = [link for link in links if not link.startswith(("https://", "http://"))]
    lost = []
    for link in inside:
        file, _, anchor = link.partition("#")
        target = path.parent / file if file else path
        if not target.exists() or (anchor and anchor not in anchors(target)):
            lost.append(link)
    assert lost == []


def test_a_heading_is_an_anchor_and_a_comment_in_a_block_is_none(tmp_path: Path) -> None:
    file = tmp_path / "x.md"
    file.write_text("# One `two`, three\n```sh\n# four\n```\n## Five-six\n", encoding="utf-8")
    assert anchors(file) == {"one-two-three", "five-six"}


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_path_in_backticks_exists(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    starts = ("controller/", "sim/", "api/", "tests/", "hardware_notes/", ".ci/")
    # `controller/state` and `controller/canary` are topics
    named = {code for code in coded(text) if code.startswith(starts)} - topics()
    lost = [one for one in named if not (ROOT / one.partition("::")[0]).exists()]
    assert lost == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_code_blocks_parse(name: str) -> None:
    for kind, code in BLOCK.findall((ROOT / name).read_text(encoding="utf-8")):
        match kind:
            case "sh":
                subprocess.run(["bash", "-n"], input=code, text=True, check=True)
            case "toml":
                tomllib.loads(code)
            case "json":
                json.loads(code)
            case "python":
                ast.parse(code)
            case _:
                assert kind == "text"


@pytest.mark.parametrize("name", ["demo", "tests", "replay"])
def test_a_command_marked_for_running_is_one_line_of_one_block(name: str) -> None:
    found = re.findall(rf"^<!-- run: {name} -->\n```sh\n([^\n]+)\n```$", README, re.MULTILINE)
    assert len(found) == 1
    assert ".venv/bin/" in found[0]


def test_the_build_runs_the_front_pages_own_commands() -> None:
    script = (ROOT / ".ci/run").read_text(encoding="utf-8")
    assert "readme_command demo" in script
    assert "readme_command tests" in script
    subprocess.run(["bash", "-n", str(ROOT / ".ci/run")], check=True)


def test_every_run_time_dependency_is_justified() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    names = {re.split(r"[<>=\[]", wanted)[0] for wanted in project["dependencies"]}
    assert names <= set(re.findall(r"^\| `([a-z0-9-]+)` \|", DEVELOPERS, re.MULTILINE))
    assert set(project["optional-dependencies"]) <= coded(DEVELOPERS)


def test_words_of_the_workshop_stay_outside() -> None:
    found = []
    for path in files():
        text = path.read_text(encoding="utf-8").lower()
        banned = NOT_IN_DOCUMENTS if path.suffix == ".md" else NOWHERE
        found += [f"{path.relative_to(ROOT)}: {word}" for word in banned if word in text]
    assert found == []


def test_no_path_of_one_machine_stands_in_a_file() -> None:
    found = [
        f"{path.relative_to(ROOT)}: {match.group()}"
        for path in files()
        for match in PLACES.finditer(path.read_text(encoding="utf-8"))
    ]
    assert found == []


@pytest.mark.parametrize("name", MACHINE)
def test_a_path_of_one_machine_would_be_seen(name: str) -> None:
    assert PLACES.search(f"in /{name}/x")
    assert PLACES.search(f"(/{name})")
    assert not PLACES.search(f"api/{name}/x")


def test_many_files_are_looked_at() -> None:
    assert len(list(files())) > 100


def test_the_readme_names_all_that_breaks_the_quiet_night() -> None:
    told = section(README, "### Alarms out of the house")
    row = re.search(r"nothing is told but (.+?)while", told, re.DOTALL)
    assert row is not None
    named = set(re.findall(r"`([a-z_]+)`", row[0]))
    assert named == {
        code.value for code, rule in ALERTS.items() if rule.at_night is not AtNight.WAITS
    }
