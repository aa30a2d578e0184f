"""`python -m tests.soak inside|wire|report FOLDER`: see DEVELOPERS.md, "Soaked"."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from tests.soak import inside, judge, wire


def main() -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(prog="python -m tests.soak", description=__doc__)
    ways = parser.add_subparsers(dest="way", required=True)
    over = ways.add_parser("wire", help="over a broker, in processes of their own")
    over.add_argument("folder", type=Path)
    over.add_argument("--speed", type=float, default=240.0)
    over.add_argument("--hours", type=float, default=168.0, help="garden time")
    over.add_argument("--walk", action="store_true", help="walk first, then run unarmed")
    over.add_argument("--every", type=float, default=wire.EVERY_REAL_S, help="[s] real")
    within = ways.add_parser("inside", help="in this process, as fast as it goes")
    within.add_argument("folder", type=Path)
    within.add_argument("--days", type=float, default=30.0, help="garden time")
    within.add_argument("--seed", type=int, default=1)
    ways.add_parser("report", help="of a run that is over").add_argument("folder", type=Path)
    told = parser.parse_args()
    if told.way == "report" and (told.folder / "kept").exists():
        parser.error(f"{told.folder} was soaked inside: run `inside` again, it goes on to its end")
    opened, stands = None, judge.WITH_NEXT_WATER
    if told.way == "wire":
        wire.run(
            told.folder,
            speed=told.speed,
            hours=told.hours,
            walked=told.walk,
            every_real_s=told.every,
        )
    elif told.way == "inside":
        run = inside.run(told.folder, told.days, told.seed)
        opened = {"litres": run.opened.litres, "open_s": run.opened.open_s}
        stands |= judge.UNTIL_CALIBRATED
    found = judge.report(told.folder, opened)
    wrong = judge.faults_of(found, stands=stands)
    print(json.dumps({**found, "wrong": wrong}, indent=1))  # noqa: T201 - a command
    raise SystemExit(1 if wrong else 0)


if __name__ == "__main__":
    main()
