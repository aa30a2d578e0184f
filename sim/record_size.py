"""How much a season's record takes on the card: `python -m sim.record_size`.

Rows as the daemon writes them go through the store itself, day after day, with a snapshot and its
pruning each hour: readings of every probe, a report of each valve every 20 s and of the meter every
minute, each bed's hourly state, decisions, and a watering of three pulses every third night. No
engine runs; the snapshot is as long as one of a garden of that size. Clocks are made up. Numbers
are drawn, since the journal is packed: instants with all the digits that clocks give, values that
scatter, a boot of its own for each node. What is written on a day is what the process gave to write
calls: rows, write-ahead log, checkpoints.
"""

from __future__ import annotations

import argparse
import json
import random
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from controller.datafolder import DataFolder
from controller.effects import Note, Outcome, Reserve, SaveEpoch, Settle
from controller.events import EVENT_JSON, Event, LinkUp, MeterReading, ProbeReading, ValveReport
from controller.store import Store
from controller.store_batches import Line
from controller.store_schema import Entry
from controller.trusted import ClockStamp

DAY_S, HOUR_S = 86_400, 3_600
BEGAN_UTC_S = 1_780_000_000.0
VALVE_S, METER_S = 20, 60
IDLE_VALVE_S = 60  # the link passes on no more of an idle valve that says the same
STATE_BYTES_A_BED = 30_000  # of a snapshot: the example garden has 24,000 after ten days


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """A garden's size; each bed has two probes and one valve, and a master stands before all."""

    probes: int = 64
    every_s: int = 600
    valve_s: int = (
        VALVE_S  # between two kept reports of a valve; of idle ones IDLE_VALVE_S; 0: none
    )
    state_json: str | None = None  # of a snapshot; None: numbers, as many as an example's beds have

    @property
    def beds(self) -> int:
        """How many beds."""
        return self.probes // 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """The file on one day, and how many days the journal reaches back."""

    day: int
    file_bytes: int
    journal_d: float
    written_bytes: int  # what this process gave to write calls that day, logs and all


def season(folder: DataFolder, plot: Plot, days: int) -> Iterator[Size]:
    """Write a season; tells the size after each day.

    Args:
        folder: an empty data folder.
        plot: the garden.
        days: how many.
    """
    store = Store.open(folder)
    store.commit(_link(0.0), [SaveEpoch(epoch=1)], durable=True, stamp=_stamp(0))
    state = plot.state_json or _state(plot)
    written_bytes = _written_bytes()
    for hour in range(24 * days):
        _hour(store, plot, hour)
        store.save_snapshot("1", state)
        if hour % 24 == 23:
            before, written_bytes = written_bytes, _written_bytes()
            yield _size(store, folder, hour // 24 + 1, written_bytes - before)
    store.close()


def _state(plot: Plot) -> str:
    """Numbers that nobody could pack much, as long as the state of so many beds."""
    rng, each = random.Random(plot.beds), 20  # [bytes] of one with its comma
    return json.dumps([rng.random() for _ in range(STATE_BYTES_A_BED * plot.beds // each)])


def _hour(store: Store, plot: Plot, hour: int) -> None:
    """One hour's rows, in the batches of a minute that the daemon writes."""
    lots = random.Random(hour)
    for minute in range(60):
        at_s = hour * HOUR_S + 60 * minute
        n = store._next_n
        entries = list(_minute(plot, at_s, n, lots))
        store._write(entries, _stamp(at_s))
        store._next_n = n + len(entries)
    at_s = (hour + 1) * HOUR_S
    for bed in range(plot.beds):
        name = f"bed-{bed}"
        told = {"depletion_frac": 0.3123, "line_frac": 0.42, "rain_mm": 0.0, "given_l": 0.0}
        note = Note(what="state", bed=name, code="hour", text="", numbers=told)
        store.commit(_link(float(at_s)), [note], durable=False, stamp=_stamp(at_s))
        if hour % 24 == 5:
            _night(store, name, bed, hour)


def _night(store: Store, name: str, bed: int, hour: int) -> None:
    """A decision a night, and every third night a watering of three pulses."""
    day, at_s = hour // 24, hour * HOUR_S
    told = {f"number_{i}_frac": 0.123456 for i in range(8)}
    text = f"{name} waits: at sunrise it will have used 31 % of its water, its line is at 42 %."
    note = Note(what="decision", bed=name, code="above_line", text=text, numbers=told)
    store.commit(_link(float(at_s)), [note], durable=False, stamp=_stamp(at_s))
    for pulse in range(3 if (day + bed) % 3 == 0 else 0):
        dose = f"plot-1-{hour}-{bed}-{pulse}"
        reserve = Reserve(
            dose=dose, watering=dose[:-2], bed=name, valve=name, by="policy",
            from_utc_s=BEGAN_UTC_S + at_s, open_s=1800.0, reserved_l=130.0, want_l=100.0,
            epoch=1, seq_high=90, trusted_s=float(at_s),
        )  # fmt: skip
        settle = Settle(
            dose=dose, outcome=Outcome.CONFIRMED, open_s=1700.0, charged_l=101.0, credited_l=99.0,
            ended_trusted_s=at_s + 1800.0,
        )  # fmt: skip
        store.commit(_link(float(at_s)), [reserve, settle], durable=True, stamp=_stamp(at_s))


def _minute(plot: Plot, at_s: int, n: int, lots: random.Random) -> Iterator[Entry]:
    for probe in range(plot.probes):
        if (at_s + 60 * probe) % plot.every_s < 60:
            yield _entry(n, _reading(probe, at_s + lots.uniform(0.0, 60.0), lots))
            n += 1
    for begin_s in range(at_s, at_s + 60, plot.valve_s) if plot.valve_s else ():
        for valve in range(plot.beds + 1):
            yield _entry(n, _report(valve, begin_s + lots.random()))
            n += 1
    yield _entry(n, _METER | _times(at_s + lots.random()))


def _entry(n: int, event: dict[str, Any]) -> Entry:
    return Entry(line=Line(n, event, None))


def _times(at_s: float) -> dict[str, float]:
    """Both clocks, with the digits that they have."""
    return {"at_utc_s": BEGAN_UTC_S + at_s, "mono_s": at_s * 1.000_01 + 0.125}


def _reading(probe: int, at_s: float, lots: random.Random) -> dict[str, Any]:
    """One value; the two probes of a bed hang on one node."""
    node = probe // 2
    return _READING | {
        **_times(at_s),
        "probe": f"bed-{node}-{20 + 20 * (probe % 2)}",
        "value": round(0.23 + node / 1_000.0 + lots.gauss(0.0, 0.003), 4),
        "soil_temp_c": round(17.0 + lots.gauss(0.0, 0.3), 2),
        "battery_v": round(3.6 + node / 100.0 + lots.gauss(0.0, 0.01), 2),
        "seq": 9_973 * node % 100_000 + int(at_s) // 60,
        "boot": _boot(node),
    }


def _report(valve: int, at_s: float) -> dict[str, Any]:
    """An idle valve's."""
    return _REPORT | {**_times(at_s), "valve": f"bed-{valve}", "boot": _boot(1_000 + valve)}


def _boot(node: int) -> str:
    return f"{(node + 1) * 2_654_435_761 % 2**32:08x}"


def _document(event: Event) -> dict[str, Any]:
    return dict(EVENT_JSON.dump_python(event, mode="json"))


_READING = _document(ProbeReading(at_utc_s=0.0, mono_s=0.0, probe="", value=0.0))
_REPORT = _document(
    ValveReport(
        at_utc_s=0.0,
        mono_s=0.0,
        valve="",
        open=False,
        left_s=0.0,
        dose="plot-12-1234-5",
        boot="",
        epoch=12,
        seq=37,
        contract=1,
    )
)
_METER = _document(
    MeterReading(
        at_utc_s=0.0, mono_s=0.0, meter="main", litres_total=12345.6, up_s=123_456.0, boot=_boot(0)
    )
)


def _link(at_s: float) -> LinkUp:
    return LinkUp(at_utc_s=BEGAN_UTC_S + at_s, mono_s=at_s)


def _stamp(at_s: float) -> ClockStamp:
    return ClockStamp(
        boot_id="a", mono_s=at_s, utc_s=BEGAN_UTC_S + at_s, synced=True, trusted_s=float(at_s)
    )


def _written_bytes() -> int:
    """What this process has given to write calls so far; 0 where the system does not tell."""
    try:
        told = Path("/proc/self/io").read_text(encoding="ascii")
    except OSError:
        return 0
    return next(int(line.split()[1]) for line in told.splitlines() if line.startswith("wchar"))


def _size(store: Store, folder: DataFolder, day: int, written_bytes: int) -> Size:
    first = next(store.journal()).event.at_utc_s
    reach_d = day - (first - BEGAN_UTC_S) / DAY_S
    file_bytes = folder.database_size()
    return Size(day=day, file_bytes=file_bytes, journal_d=reach_d, written_bytes=written_bytes)


def main() -> None:
    """Tell the largest that the file was, and the journal's reach at the end."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--days", type=int, default=214)
    asked.add_argument("--probes", type=int, default=64)
    asked.add_argument("--every", type=int, default=600, help="[s] between readings of a probe")
    told = asked.parse_args()
    plot = Plot(probes=told.probes, every_s=told.every)
    with tempfile.TemporaryDirectory() as place:
        sizes = list(season(DataFolder(Path(place)), plot, told.days))
    most, last = max(one.file_bytes for one in sizes), sizes[-1]
    print(  # noqa: T201 - a command
        f"{told.probes} probes each {told.every} s, {plot.beds} beds, {told.days} days: at most "
        f"{most / 1e6:.0f} MB, the journal reaches back {last.journal_d:.1f} days; "
        f"{last.written_bytes / 1e6:.0f} MB written on the last day"
    )


if __name__ == "__main__":
    main()
