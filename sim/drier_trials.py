"""The season book's drier line held against the engine itself, living the season anew with it.

    python -m sim.drier_trials [--weather NAME] [--seed N] [--garden NAME] [--sure] [--json]

A season is lived twice through the real engine in one world, its record kept: with the lines as
they are, and with each of them `SHIFT_FRAC` further while the floors stay. The book reckons the
second from the record of the first. About two minutes of CPU.

`--json` prints an object: `weather`, `seed`, `sure`, and for `ledger`, `same`, `drier` (reckoned)
and `lived` (the engine's drier season) an object with `litres` and `waterings`; `miss_litres`.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from types import MappingProxyType
from typing import Any

from controller.agronomy import crop
from controller.book.drier import SHIFT_FRAC
from controller.book.season import book_of
from controller.datafolder import DataFolder
from controller.effects import Effect
from controller.errors import SeasonError, ThirstlineError
from controller.events import Event, ProbeReading
from controller.garden import load_garden
from controller.store import Store, open_reader
from controller.store_book import SeasonRows
from controller.trusted import ClockStamp
from sim.bending import bent
from sim.examples import find_garden
from sim.replay import EngineReplay
from sim.season_run import Replay, prepare

NOTHING = "the record is too short for a reckoning"


def lines_shifted(by_frac: float) -> AbstractContextManager[None]:
    """Every stage's line so much further, never past its floor; the floors stay."""
    lines = {
        stage: (min(line + by_frac, floor), floor)
        for stage, (line, floor) in crop.LINES_FRAC.items()
    }
    return bent(crop, "LINES_FRAC", MappingProxyType(lines))


def lived(replay: Replay) -> SeasonRows:
    """Live a season through the engine and read its record as the season book does."""
    live = EngineReplay(replay.garden, replay.world(), replay.span)
    think = live.engine.step
    with tempfile.TemporaryDirectory() as place:
        folder = DataFolder(Path(place) / "data")
        store = Store.open(folder)

        def step(event: Event) -> list[Effect]:
            done = think(event)
            if done and not isinstance(event, ProbeReading):
                store.commit(event, done, durable=False, stamp=_stamp(event))
            return done

        live.engine.step = step  # type: ignore[method-assign]
        live.go(replay.span.to_utc_s - 1800.0)
        store.flush()
        store.close()
        with open_reader(folder) as reader:
            rows = reader.season(replay.span.from_utc_s, replay.span.to_utc_s)
        folder.unlock()
    return rows


def _stamp(event: Event) -> ClockStamp:
    return ClockStamp(
        boot_id="b",
        mono_s=event.mono_s,
        utc_s=event.at_utc_s,
        synced=True,
        trusted_s=event.mono_s,
    )


def held(replay: Replay) -> dict[str, Any]:
    """What the book reckons of a season, and what the engine makes of it with drier lines.

    Args:
        replay: the season; its faults and picks are left aside.

    Raises:
        SeasonError: the record is too short for a reckoning.
    """
    garden = replay.garden
    found = book_of(garden, lived(replay)).drier
    if found is None:
        raise SeasonError(NOTHING)
    with lines_shifted(SHIFT_FRAC):
        rows = lived(replay)
    again_l = sum(one.credited_l for one in rows.waterings)
    return {
        "ledger": _told(found.litres, found.waterings),
        "same": _told(found.as_it_was.litres, found.as_it_was.waterings),
        "drier": _told(found.drier.litres, found.drier.waterings),
        "lived": _told(again_l, len(rows.waterings)),
        "miss_litres": round(found.miss_l, 1),
    }


def _told(litres: float, waterings: int) -> dict[str, float]:
    return {"litres": round(litres, 1), "waterings": waterings}


def main(argv: Sequence[str] | None = None) -> int:
    """Run the trial.

    Args:
        argv: the words after the command; None for the process's own.

    Returns:
        0, or 1 where the season cannot be used.
    """
    parser = argparse.ArgumentParser(prog="python -m sim.drier_trials")
    parser.add_argument("--weather", default="seattle-2015")
    parser.add_argument("--garden", default="hollin-lane")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sure", action="store_true")
    parser.add_argument("--json", action="store_true")
    words = parser.parse_args(argv)
    try:
        garden = load_garden(find_garden(words.garden))
        found = held(prepare(garden, words.weather, seed=words.seed, sure=words.sure))
    except ThirstlineError as exc:
        sys.stderr.write(f"{exc}\n")
        return 1
    if words.json:
        told = {"weather": words.weather, "seed": words.seed, "sure": words.sure, **found}
        sys.stdout.write(f"{json.dumps(told)}\n")
        return 0
    for name in ("ledger", "same", "drier", "lived"):
        one = found[name]
        sys.stdout.write(f"{name:<8}{one['litres']:>9.0f} L{one['waterings']:>6} waterings\n")
    sys.stdout.write(f"the reckoning is off the ledger by {found['miss_litres']:.0f} L\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
