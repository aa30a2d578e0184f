"""What a release changes and refuses; what the small boards' question asks; the words to type."""

from __future__ import annotations

import re
import subprocess
import tomllib
from pathlib import Path

import pytest

from tests import bare_root, release, wheels
from tests.release import Refused, dated, look_at, raised

ROOT = Path(__file__).parents[2]
PROJECT = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
CHANGELOG = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_the_version_is_raised_and_nothing_else() -> None:
    then = raised(PROJECT, "97.0.1")
    assert tomllib.loads(then)["project"]["version"] == "97.0.1"
    changed = [a for a, b in zip(PROJECT.splitlines(), then.splitlines(), strict=True) if a != b]
    assert len(changed) == 1


@pytest.mark.parametrize("version", ["0.0.1", "1.0", "1.0.0rc1", "v1.0.0", "01.0.0", "1٠.0.0", ""])
def test_a_version_that_is_none_or_not_above_is_refused(version: str) -> None:
    with pytest.raises(Refused, match=r"three numbers|not above"):
        raised(PROJECT, version)


def test_what_was_unreleased_gets_the_version_and_its_day() -> None:
    then = dated(CHANGELOG, "97.0.1", "2096-12-01")
    assert "## [Unreleased]\n\n## [97.0.1] - 2096-12-01\n\n### " in then
    assert then.replace("## [97.0.1] - 2096-12-01\n\n", "", 1) == CHANGELOG
    with pytest.raises(Refused, match="nothing stands under"):
        dated(then, "97.0.2", "2096-12-02")
    with pytest.raises(Refused, match="stands there already"):
        dated(then.replace("ased]\n", "ased]\n\n- more\n", 1), "97.0.1", "2096-12-02")


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A small repository on main with one commit."""
    for words in (
        ("init", "-q", "-b", "main"),
        ("config", "user.name", "a"),
        ("config", "user.email", "a@mail.example"),
        ("commit", "-q", "--allow-empty", "-m", "first"),
    ):
        subprocess.run(["git", *words], cwd=tmp_path, check=True)
    return tmp_path


def test_a_checkout_that_is_not_clean_or_not_main_or_has_the_tag_is_refused(
    checkout: Path,
) -> None:
    look_at(checkout, "1.0.0")
    subprocess.run(["git", "tag", "v1.0.0"], cwd=checkout, check=True)
    with pytest.raises(Refused, match=r"the tag v1\.0\.0 is there already"):
        look_at(checkout, "1.0.0")
    (checkout / "more").write_text("x")
    with pytest.raises(Refused, match="no commit has"):
        look_at(checkout, "1.0.1")
    (checkout / "more").unlink()
    subprocess.run(["git", "switch", "-q", "-c", "other"], cwd=checkout, check=True)
    with pytest.raises(Refused, match="the branch is other"):
        look_at(checkout, "1.0.1")


def test_a_command_that_fails_ends_the_release_with_its_words(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="status 3\nwhy not"):
        release.run("bash", "-c", "echo why not; exit 3", cwd=tmp_path)


# -- wheels for small boards


def test_pip_is_asked_for_another_machine_with_source_packages_forbidden(tmp_path: Path) -> None:
    told = wheels.words("armv7l", "3.12", ["a>=1"], tmp_path / "r.json")
    assert {"--only-binary=:all:", "--dry-run", "--ignore-installed", "cp312", "abi3"} <= set(told)
    assert "manylinux2014_armv7l" in told
    assert not [word for word in told if "aarch64" in word]
    assert told[-1] == "a>=1"


def test_every_run_time_dependency_is_asked_for() -> None:
    project = tomllib.loads(PROJECT)["project"]
    assert wheels.wanted(None) == project["dependencies"]
    assert set(wheels.wanted("demo")) > set(project["dependencies"])


def test_what_is_made_for_a_machine_is_told_apart() -> None:
    names = ("a-1-py3-none-any.whl", "b-1-cp311-cp311-manylinux2014_armv7l.whl")
    assert wheels.Resolved(wheels=names, fault="").compiled == [names[1]]


# -- the words of the page that a bare root obeys


def test_the_bare_root_types_every_marked_block_and_no_other() -> None:
    story = (ROOT / "tests/bare_root.py").read_text(encoding="utf-8")
    loops = re.findall(r"for name in \(([^)]+)\)", story)
    typed = set(re.findall(r"self\.type\(\"([a-z-]+)\"", story))
    typed |= {name for loop in loops for name in re.findall(r"\"([a-z-]+)\"", loop)}
    typed |= set(re.findall(r"self\.words\[\"([a-z-]+)\"\]", story))
    assert typed == set(bare_root.blocks())


def test_the_words_ask_debian_for_packages_by_name() -> None:
    assert bare_root.packages() == ["python3-venv", "mosquitto"]
