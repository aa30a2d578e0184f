"""A release, made in a scratch clone and taken over only when everything has held.

    python tests/release.py 0.2.0 [--dry-run] [--checked] [--dist DIR] [--date 2026-12-01]

Version into pyproject.toml, the changelog's *Unreleased* under that version, `bash .ci/run` there
(`--checked`: it ran already on this commit), source package and, from that, the wheel, an install
of the wheel into a fresh environment, a trial there, commit and tag `vX.Y.Z`. `--dry-run` ends
before the commit and tag are taken over. Nothing is ever pushed.
"""

from __future__ import annotations

import argparse
import datetime
import json
import re
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
VERSION = re.compile(r"(0|[1-9][0-9]*)\.(0|[1-9][0-9]*)\.(0|[1-9][0-9]*)")
LINE = re.compile(r'^version = "([^"]+)"$', re.MULTILINE)
UNRELEASED = "## [Unreleased]\n"
PACKAGES = ("controller", "sim", "api")
DATA = {".typed", ".toml", ".html", ".css", ".js", ".csv", ".py"}
TRIAL = """
import importlib, pkgutil, controller, sim, api
names = [i.name for p in (controller, sim, api)
         for i in pkgutil.walk_packages(p.__path__, p.__name__ + ".")]
names = [n for n in names if not n.startswith("sim.winter.")]
for name in names:
    importlib.import_module(name)
print(len(names), "modules imported from", controller.__path__[0])
"""


class Refused(Exception):  # noqa: N818 - a refusal, told in words
    """The release cannot be made; the message says why."""


def run(*words: str | Path, cwd: Path = ROOT) -> str:
    """Run a command; what it prints.

    Raises:
        Refused: it failed.
    """
    done = subprocess.run(
        [str(word) for word in words], cwd=cwd, capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        shown = " ".join(str(word) for word in words)
        msg = f"{shown}: status {done.returncode}\n{(done.stdout + done.stderr)[-3000:]}"
        raise Refused(msg)
    return done.stdout.strip()


def raised(project: str, version: str) -> str:
    """pyproject.toml with the new version.

    Raises:
        Refused: it is no version, or none above the present one.
    """
    now = LINE.search(project)
    if now is None or VERSION.fullmatch(version) is None:
        msg = f"{version!r}: a version is three numbers such as 0.2.0"
        raise Refused(msg)
    if _numbers(version) <= _numbers(now[1]):
        msg = f"{version}: not above {now[1]}, which pyproject.toml has"
        raise Refused(msg)
    return LINE.sub(f'version = "{version}"', project, count=1)


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split("."))


def dated(changelog: str, version: str, day: str) -> str:
    """The changelog with what was unreleased under the version and its day.

    Raises:
        Refused: nothing stands there, or the version stands there already.
    """
    before, found, after = changelog.partition(UNRELEASED)
    told = re.split(r"^## \[", after, maxsplit=1, flags=re.MULTILINE)[0]
    if not found or not re.search(r"^- ", told, re.MULTILINE):
        msg = "CHANGELOG.md: nothing stands under [Unreleased]"
        raise Refused(msg)
    if f"## [{version}]" in changelog:
        msg = f"CHANGELOG.md: {version} stands there already"
        raise Refused(msg)
    return f"{before}{UNRELEASED}\n## [{version}] - {day}\n{after}"


def look_at(checkout: Path, version: str) -> None:
    """Refuse a checkout that a release cannot be made from.

    Raises:
        Refused: changes that no commit has, another branch, or the tag is there.
    """
    if run("git", "status", "--porcelain", cwd=checkout):
        msg = "the checkout has changes that no commit has"
        raise Refused(msg)
    if (branch := run("git", "branch", "--show-current", cwd=checkout)) != "main":
        msg = f"the branch is {branch or 'none'}; a release is made from main"
        raise Refused(msg)
    if run("git", "tag", "--list", f"v{version}", cwd=checkout):
        msg = f"the tag v{version} is there already"
        raise Refused(msg)


def build(scratch: Path, dist: Path, tools: Path) -> tuple[Path, Path]:
    """Build the source package and from that the wheel; both looked through.

    Args:
        scratch: the clone.
        dist: where they go.
        tools: an environment for the builder.

    Raises:
        Refused: it does not build, or a file of the packages is missing.
    """
    run(sys.executable, "-m", "venv", tools)
    run(tools / "bin/pip", "install", "-q", "build")
    run(tools / "bin/python", "-m", "build", "--outdir", dist, cwd=scratch)
    (source,), (wheel,) = list(dist.glob("*.tar.gz")), list(dist.glob("*.whl"))
    tracked = run("git", "ls-files", *PACKAGES, cwd=scratch).splitlines()
    need = {name for name in tracked if Path(name).suffix in DATA}
    with zipfile.ZipFile(wheel) as packed:
        lost = need - set(packed.namelist())
    with tarfile.open(source) as packed_source:
        inside = {name.partition("/")[2] for name in packed_source.getnames()}
    lost |= {name for name in need if name not in inside}
    if lost:
        msg = f"missing in the packages: {', '.join(sorted(lost)[:10])}"
        raise Refused(msg)
    return source, wheel


def try_out(wheel: Path, place: Path, version: str) -> str:
    """Install the wheel where nothing of the checkout is near, and try it.

    Raises:
        Refused: it does not install, import, say its version, read the example or water.
    """
    place.mkdir()
    env = place / "env"
    run(sys.executable, "-m", "venv", env)
    run(env / "bin/pip", "install", "-q", f"{wheel}[demo]")
    told = run(env / "bin/thirstline", "--version", cwd=place)
    if not told.endswith(version):
        msg = f"thirstline --version says {told!r}, not {version}"
        raise Refused(msg)
    said = run(env / "bin/python", "-c", TRIAL, cwd=place)
    run(env / "bin/thirstline", "check", "hollin-lane", cwd=place)
    shown = json.loads(run(env / "bin/thirstline", "demo", "--for", "40s", "--json", cwd=place))
    if not (shown["waterings"] > 0 and shown["litres"] > 0):
        msg = f"the demo did not water: {shown['waterings']} waterings, {shown['litres']} L"
        raise Refused(msg)
    return f"{said}; the demo watered {shown['litres']:.0f} L"


def release(told: argparse.Namespace, place: Path) -> None:
    """Make it.

    Raises:
        Refused: something does not hold; the checkout is as it was.
    """
    version, scratch = told.version, place / "clone"
    look_at(ROOT, version)
    run("git", "clone", "-q", ROOT, scratch)
    for name, change in (
        ("pyproject.toml", lambda text: raised(text, version)),
        ("CHANGELOG.md", lambda text: dated(text, version, told.date)),
    ):
        path = scratch / name
        path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
    if not told.checked:
        say("bash .ci/run: takes a while")
        run("bash", ".ci/run", cwd=scratch)
    dist = told.dist or place / "dist"
    source, wheel = build(scratch, dist.absolute(), place / "tools")
    say(f"{source.name} {source.stat().st_size} bytes, {wheel.name} {wheel.stat().st_size} bytes")
    say(try_out(wheel, place / "elsewhere", version))
    for key in ("user.name", "user.email"):
        run("git", "config", key, run("git", "config", key), cwd=scratch)
    run("git", "commit", "-q", "-a", "-m", f"Version {version}", cwd=scratch)
    run("git", "tag", "-a", f"v{version}", "-m", f"Thirstline {version}", cwd=scratch)
    if told.dry_run:
        say(f"dry run: v{version} would be {run('git', 'rev-parse', 'HEAD', cwd=scratch)[:12]}")
        return
    run("git", "fetch", "-q", scratch, "main", "--tags")
    run("git", "merge", "-q", "--ff-only", "FETCH_HEAD")
    say(f"v{version} is tagged here; push branch and tag yourself")


def say(line: str) -> None:
    """One line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> int:
    """The command."""
    parser = argparse.ArgumentParser(description="Makes a release, or tries it.")
    parser.add_argument("version")
    parser.add_argument("--dry-run", action="store_true", help="change nothing here")
    parser.add_argument("--checked", action="store_true", help=".ci/run ran on this commit")
    parser.add_argument("--dist", type=Path, default=None, help="where the packages go")
    today = datetime.datetime.now(datetime.UTC).date().isoformat()
    parser.add_argument("--date", default=today, help="of the changelog")
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        try:
            release(told, Path(place))
        except Refused as exc:
            sys.stderr.write(f"{exc}\n")
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
