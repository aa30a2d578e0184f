"""What a soak's folder tells: slopes, counts, sizes, alarms and books.

`report` reads what a run left and works out figures; `faults_of` says which of them are not as
they have to be. Slopes are least squares over the samples after a quarter of the run.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import closing
from datetime import datetime
from pathlib import Path
from statistics import median
from typing import Any

from controller.datafolder import DataFolder
from controller.verify import verify
from tests.end_to_end.live_garden import Truth
from tests.soak.plot import BEDS
from tests.soak.samples import DAY_S, read_lines, slope, warm

WARM_FRAC = 0.25  # [-] of a run, while which memory may still grow
MOST_BYTES = 200_000_000  # [bytes] of the whole data folder
RISE_MOST_FRAC = 0.05  # [-] of what the daemon held when it was warm
UNDER_WAY = "under way"
OUTCOMES = {"CONFIRMED", "ASSUMED_FULL", "NEVER_SENT", UNDER_WAY}
LONGEST_S = 5400.0  # [s] of a dose's opening
LITRE_SLACK_L = 1e-3
UNTIL_CALIBRATED = frozenset({"probe_suspect"})  # a probe that drifted: nobody in a soak calibrates
# By their rules they end with the next water, or as the broker shuts its door: a soak's has none.
WITH_NEXT_WATER = frozenset({"valve_silent", "valve_stuck_closed", "supply_lost", "broker_open"})


def report(folder: Path, opened: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Work out what a run came to.

    Args:
        folder: of the run.
        opened: litres and open seconds by valve, where no truth file tells them.
    """
    samples = read_lines(folder / "samples.jsonl")
    inside = read_lines(folder / "inside.jsonl")
    found: dict[str, Any] = {"folder": str(folder), "samples": len(samples)}
    found["days"] = round(samples[-1]["garden_s"] / DAY_S, 3)
    found["real_h"] = round((samples[-1]["at"] - samples[0]["at"]) / 3600.0, 3)
    found["processes"] = sorted({str(_of(line, "pid")) for line in samples})
    found["memory"] = _trend(samples, "rss_kib")
    lines = inside or samples
    found["blocks"] = _trend(_in_garden_time(lines, samples), "blocks")
    found["counts"] = _counts(samples, inside)
    found["files"] = _files(samples)
    found["alarms"] = _alarms(folder / "data")
    found["standing"] = samples[-1]["alerts"]
    found["books"] = _books(folder, opened)
    told = verify(DataFolder(folder / "data", make=False))
    found["verify"] = {"events": told.events, "differs_at": told.differs_at, "what": told.what}
    return found


def _of(line: Mapping[str, Any], key: str) -> Any:
    """A sample's own value, or its daemon's."""
    return line.get(key, line.get("daemon", {}).get(key))


def _trend(samples: Sequence[Mapping[str, Any]], key: str) -> dict[str, float]:
    """How a value goes after the first quarter."""
    told = [line for line in samples if _of(line, key) is not None]
    late = warm(told, "garden_s", WARM_FRAC)
    line = slope([one["garden_s"] for one in late], [_of(one, key) for one in late])
    values = [float(_of(one, key)) for one in told]
    return {
        "first": values[0],
        "warm": round(line.first),
        "last": round(line.last),
        "most": max(values),
        "per_day": round(line.per_day, 1),
        "samples": line.samples,
    }


def _in_garden_time(
    lines: Sequence[dict[str, Any]], samples: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """What the daemon tells of itself, in the samples' own time."""
    if lines and "garden_s" in lines[0]:
        return list(lines)
    first, last = samples[0], samples[-1]
    speed = (last["garden_s"] - first["garden_s"]) / (last["at"] - first["at"])
    return [
        {**line, "garden_s": first["garden_s"] + speed * (line["at"] - first["at"])}
        for line in lines
    ]


def _counts(
    samples: Sequence[Mapping[str, Any]], inside: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Threads, files and tasks: their middle in the second quarter and in the last."""
    found: dict[str, Any] = {}
    for key in ("threads", "fds"):
        values = [_of(line, key) for line in samples if _of(line, key) is not None]
        found[key] = _early_and_late([float(value) for value in values])
    for key in ("tasks", "connections", "events", "jobs", "answers"):
        values = [line[key] for line in (inside or samples) if key in line]
        if values:
            found[key] = _early_and_late([float(value) for value in values])
    if inside:
        names = Counter(name for line in inside[len(inside) // 4 :] for name in line["threads"])
        found["named"] = sorted(names)
    return found


def _early_and_late(values: Sequence[float]) -> dict[str, float]:
    quarter = max(1, len(values) // 4)
    return {
        "early": median(values[quarter : 2 * quarter] or values[:1]),
        "late": median(values[-quarter:]),
        "most": max(values),
        "last": values[-1],
    }


def _files(samples: Sequence[Mapping[str, Any]]) -> dict[str, float]:
    """Largest size of each file, and of all together [bytes]."""
    most: dict[str, float] = {}
    for line in samples:
        for name, size in line["files"].items():
            most[name] = max(most.get(name, 0), size)
    most["together"] = max(sum(line["files"].values()) for line in samples)
    most["together_last"] = sum(samples[-1]["files"].values())
    return most


def _alarms(data: Path) -> dict[str, Any]:
    """How often each alarm came, ended by itself and was lifted by a person, by the record."""
    rows = _rows(data, "SELECT what, code, text FROM notes WHERE what IN ('alert', 'order')")
    codes = Counter(str(row["code"]) for row in rows if row["what"] == "alert")
    lifts = [str(row["text"]) for row in rows if row["code"] == "clear"]
    return {
        code: {
            "raised": n,
            "ended": codes.get(f"{code}_ended", 0),
            "lifted": sum(1 for text in lifts if f"lifted {code}" in text),
        }
        for code, n in sorted(codes.items())
        if not code.endswith("_ended")
    }


def _rows(data: Path, sql: str) -> list[dict[str, Any]]:
    uri = f"{(data / 'thirstline.db').absolute().as_uri()}?mode=ro"
    with closing(sqlite3.connect(uri, uri=True)) as db:
        db.row_factory = sqlite3.Row
        return [dict(row) for row in db.execute(sql)]


def truth_of(folder: Path) -> dict[str, dict[str, float]]:
    """Litres and open seconds by valve, from every truth file of a run."""
    found: dict[str, dict[str, float]] = {"litres": {}, "open_s": {}}
    for path in sorted(folder.glob("truth-*.jsonl")):
        truth = Truth(path).look()
        for valve in BEDS:
            if truth.lines(valve):
                for key, value in (
                    ("litres", truth.litres(valve)),
                    ("open_s", truth.open_s(valve)),
                ):
                    found[key][valve] = found[key].get(valve, 0.0) + value
    return found


def _apart_s(row: Mapping[str, Any], newest: Mapping[str, Any]) -> float:
    """How much earlier a dose began than the newest one."""
    began, last = (datetime.fromisoformat(one["from_utc"]) for one in (row, newest))
    return (last - began).total_seconds()


def _books(folder: Path, opened: Mapping[str, Any] | None) -> dict[str, Any]:
    """The ledger beside what truly flowed."""
    truth = truth_of(folder) if opened is None else opened
    rows = _rows(
        folder / "data",
        "SELECT bed, from_utc, outcome, charged_l, open_s FROM ledger ORDER BY from_utc",
    )
    for last in {row["bed"]: row for row in rows}.values():  # a process may end within a dose
        if _apart_s(last, rows[-1]) < LONGEST_S:
            last["outcome"] = last["outcome"] or UNDER_WAY
    beds = {}
    for bed in BEDS:
        own = [row for row in rows if row["bed"] == bed]
        beds[bed] = {
            "charged_l": round(sum(row["charged_l"] or 0.0 for row in own), 3),
            "true_l": round(truth["litres"].get(bed, 0.0), 3),
            "open_s": round(sum(row["open_s"] or 0.0 for row in own), 1),
            "true_open_s": round(truth["open_s"].get(bed, 0.0), 1),
        }
    return {
        "rows": len(rows),
        "outcomes": dict(Counter(str(row["outcome"]) for row in rows)),
        "charged_l": round(sum(one["charged_l"] for one in beds.values()), 1),
        "true_l": round(sum(one["true_l"] for one in beds.values()), 1),
        "beds": beds,
    }


def faults_of(
    found: Mapping[str, Any],
    *,
    stands: frozenset[str] = WITH_NEXT_WATER,
    rise_most_frac: float = RISE_MOST_FRAC,
) -> list[str]:
    """What is not as it has to be; empty where all is.

    Args:
        found: what `report` worked out.
        stands: alarms that may stand at the end.
        rise_most_frac: by how much what was held when warm may have risen [-].
    """
    wrong = _growth(found, rise_most_frac)
    books = found["books"]
    wrong += [f"outcomes {books['outcomes']}"] if set(books["outcomes"]) - OUTCOMES else []
    for bed, one in books["beds"].items():
        if one["charged_l"] < one["true_l"] - LITRE_SLACK_L:
            wrong.append(f"{bed}: {one['charged_l']} L in the books, {one['true_l']} L flowed")
        if one["open_s"] < one["true_open_s"] - 0.1:
            wrong.append(f"{bed}: open {one['open_s']} s in the books, {one['true_open_s']} s")
    if not books["true_l"] > 0.0:
        wrong.append("no water flowed: nothing was soaked")
    if found["verify"]["differs_at"] is not None:
        wrong.append(f"fed again it differs: {found['verify']}")
    wrong += [f"{code} stands at the end" for code in found["standing"] if code not in stands]
    for code, one in found["alarms"].items():
        over = one["ended"] + one["lifted"]
        if over == 0 and code not in found["standing"]:  # one that stands may be told anew
            wrong.append(f"{code} was raised {one['raised']} times and is over unsaid")
    return wrong


def _growth(found: Mapping[str, Any], rise_most_frac: float) -> list[str]:
    wrong = []
    for what in ("memory", "blocks"):
        one = found[what]
        if one["last"] - one["warm"] > rise_most_frac * one["warm"]:
            wrong.append(f"{what} rose from {one['warm']} to {one['last']}")
    for what in ("threads", "fds", "tasks", "connections"):
        one = found["counts"].get(what)
        if one is not None and one["late"] > one["early"] + 1:
            wrong.append(f"{what}: {one['early']:g} in the middle, then {one['late']:g}")
    if found["files"]["together"] > MOST_BYTES:
        wrong.append(f"{found['files']['together']:.0f} bytes in the data folder")
    return wrong
