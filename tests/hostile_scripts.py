"""Random scripts of whatever can go wrong, against all invariants: the release's long run.

    python tests/hostile_scripts.py --scripts 10000 --jobs 2 --seed 1 [--json] [--keep] [--out FILE]
    python tests/hostile_scripts.py --one SEED        # one script, printed, played, cut down
    python tests/hostile_scripts.py --file SCRIPT     # the same for a kept script

Each script puts the real engine, guard, ledger and valve machines among the node machines of
`sim/nodes.py` for one to four days (`tests/scripts`). Prints how often each fault, state, order,
refusal, alert and restart occurred. Exit 1: an invariant broke, or something never occurred.
`--keep` cuts what broke something down and puts it into `tests/property/kept_scripts`, where it
stays as a test. `--partly` does not mind what never occurred: for short runs. With `--out` the run
can be stopped and goes on from that file; one of other code is refused.
"""

from __future__ import annotations

import argparse
import gc
import hashlib
import json
import logging
import os
import sys
import time
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from controller.errors import UsageError  # noqa: E402
from sim.kept_lines import KeptLines  # noqa: E402
from tests.scripts.draw import draw  # noqa: E402
from tests.scripts.play import Broke, cut_down, play  # noqa: E402
from tests.scripts.script import Script  # noqa: E402
from tests.scripts.seen import NOT_HERE, Seen  # noqa: E402

KEPT = ROOT / "tests" / "property" / "kept_scripts"
A_TIME = 20  # scripts that a process takes at once
SHOWN_MOST = 20


def say(text: str) -> None:
    """Tell the shell."""
    sys.stdout.write(f"{text}\n")


@dataclass(slots=True, kw_only=True)
class Ran:
    """What some scripts came to."""

    scripts: int = 0
    days: float = 0.0
    steps: int = 0
    cpu_s: float = 0.0
    broke: dict[int, Broke] = field(default_factory=dict)
    counts: list[tuple[tuple[str, str], int]] = field(default_factory=list)


def run(seeds: Iterable[int]) -> Ran:
    """Play the scripts of some seeds."""
    logging.disable(logging.CRITICAL)  # thousands of refused messages
    began_s, seen, ran = time.process_time(), Seen(), Ran()
    gc.freeze()  # what was loaded stays; a script's own litter goes when it is over
    gc.disable()
    for seed in seeds:
        script = draw(seed)
        broke = play(script, seen)
        ran.scripts += 1
        ran.days += script.span_s / 86_400.0
        ran.steps += len(script.steps)
        if broke is not None:
            ran.broke[seed] = broke
        gc.collect()
    gc.enable()
    gc.unfreeze()
    ran.cpu_s = time.process_time() - began_s
    ran.counts = list(seen.counts.items())
    logging.disable(logging.NOTSET)
    return ran


def spread(first: int, scripts: int, jobs: int, kept: KeptLines | None = None) -> Iterator[Ran]:
    """The same over several processes; what the file holds already is not played again."""
    kept = kept or KeptLines(None, {})
    parts = [
        range(at, min(at + A_TIME, first + scripts)) for at in range(first, first + scripts, A_TIME)
    ]
    waiting = [part for part in parts if str(part) not in kept.kept]
    yield from (_taken_back(kept.kept[str(part)]) for part in parts if part not in waiting)
    if jobs == 1:
        found = map(run, waiting)
        yield from _keeping(waiting, found, kept)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from _keeping(waiting, pool.map(run, waiting), kept)


def _keeping(parts: list[range], found: Iterable[Ran], kept: KeptLines) -> Iterator[Ran]:
    for part, ran in zip(parts, found, strict=True):
        kept.add(str(part), asdict(ran))
        yield ran


def _taken_back(told: dict[str, Any]) -> Ran:
    """What some scripts came to, from a line of the file."""
    plain = {name: told[name] for name in ("scripts", "days", "steps", "cpu_s")}
    broke = {int(seed): Broke(**one) for seed, one in told["broke"].items()}
    counts = [((family, name), count) for (family, name), count in told["counts"]]
    return Ran(**plain, broke=broke, counts=counts)


def code() -> str:
    """A sum over all code that a script plays in."""
    found = hashlib.sha256()
    for part in ("controller", "sim", "tests/scripts"):
        for path in sorted((ROOT / part).rglob("*.py")):
            found.update(path.read_bytes())
    return found.hexdigest()[:16]


def one(script: Script, *, keep: bool) -> int:
    """Print a script, play it, and cut it down where it breaks something."""
    logging.disable(logging.CRITICAL)
    say(script.to_json())
    broke = play(script)
    if broke is None:
        say("nothing broke")
        return 0
    say(f"after {broke.at_s:.1f} s: {broke.what}\n{broke.trace}")
    small = cut_down(script, broke, play)
    say(f"it takes {len(small.steps)} of {len(script.steps)} steps:\n{small.to_json()}")
    if keep:
        _keep(small, broke)
    return 1


def _keep(small: Script, broke: Broke) -> None:
    KEPT.mkdir(exist_ok=True)
    path = KEPT / f"{broke.code.lower()}_{small.seed}.json"
    path.write_text(small.to_json(), encoding="utf-8")
    say(f"kept as {path.relative_to(ROOT)}")


def many(args: argparse.Namespace) -> int:
    """The long run."""
    began_s, seen, whole = time.monotonic(), Seen(), Ran()
    kept = KeptLines(args.out, {"of": "hostile scripts", "code": code()})
    for part in spread(args.seed, args.scripts, args.jobs, kept):
        seen.add(part.counts)
        whole.broke.update(part.broke)
        whole.scripts += part.scripts
        whole.days += part.days
        whole.steps += part.steps
        whole.cpu_s += part.cpu_s
        for seed, broke in part.broke.items():
            sys.stderr.write(f"BROKE: seed {seed} after {broke.at_s:.0f} s: {broke.what}\n")
        if sys.stderr.isatty():
            sys.stderr.write(f"\r{whole.scripts} scripts")
    seconds, missing = time.monotonic() - began_s, seen.missing()
    if args.json:
        say(_as_json(whole, seen, seconds))
    else:
        _print(whole, seen, seconds)
    if args.keep:
        for seed, broke in list(whole.broke.items())[:SHOWN_MOST]:
            _keep(cut_down(draw(seed), broke, play), broke)
    return 1 if whole.broke or (missing and not args.partly) else 0


def _print(whole: Ran, seen: Seen, seconds: float) -> None:
    say(seen.table())
    for (family, name), why in NOT_HERE.items():
        say(f"not here: {family} {name}: {why}")
    for family, name in seen.missing():
        say(f"NEVER OCCURRED: {family} {name}")
    for seed, broke in list(whole.broke.items())[:SHOWN_MOST]:
        say(f"BROKE: seed {seed} after {broke.at_s:.0f} s: {broke.what}")
    say(
        f"{whole.scripts} scripts, {whole.steps} steps, {whole.days:.0f} days, {seconds:.0f} s "
        f"({whole.cpu_s:.0f} s of CPU, {whole.cpu_s / max(whole.scripts, 1):.3f} a script): "
        f"{len(whole.broke)} broke an invariant, {len(seen.missing())} things never occurred"
    )


def _as_json(whole: Ran, seen: Seen, seconds: float) -> str:
    counts: dict[str, dict[str, int]] = {}
    for (family, name), count in sorted(seen.counts.items()):
        counts.setdefault(family, {})[str(name)] = count
    told = {
        "scripts": whole.scripts,
        "steps": whole.steps,
        "days": round(whole.days, 2),
        "seconds": round(seconds, 1),
        "cpu_s": round(whole.cpu_s, 1),
        "broke": {seed: broke.what for seed, broke in whole.broke.items()},
        "never": [f"{family} {name}" for family, name in seen.missing()],
        "counts": counts,
    }
    return json.dumps(told, indent=1)


def main(argv: list[str] | None = None) -> int:
    """Run from the shell."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--scripts", type=int, default=300)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--seed", type=int, default=1, help="of the first script")
    parser.add_argument("--one", type=int, metavar="SEED")
    parser.add_argument("--file", type=Path)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--keep", action="store_true")
    parser.add_argument("--partly", action="store_true")
    parser.add_argument("--out", type=Path, metavar="FILE", help="goes on where it was stopped")
    args = parser.parse_args(argv)
    if args.one is not None:
        return one(draw(args.one), keep=args.keep)
    if args.file is not None:
        return one(Script.from_json(args.file.read_text(encoding="utf-8")), keep=False)
    try:
        return many(args)
    except UsageError as exc:
        parser.error(str(exc))


if __name__ == "__main__":
    sys.exit(main())
