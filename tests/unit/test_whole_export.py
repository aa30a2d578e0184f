"""Everything that is kept gets out: each row stands in a file that anybody can read."""

from __future__ import annotations

import csv
import json
from pathlib import Path

from click.testing import CliRunner

from api.cli import main
from controller.datafolder import DataFolder
from controller.effects import Note, Outcome, Reserve, SaveEpoch, Settle
from controller.events import LinkUp, ProbeReading, Started
from controller.garden import load_garden
from controller.store import Store
from controller.trusted import ClockStamp
from sim.examples import find_garden
from tests.engine_garden import START_UTC_S

STAMP = ClockStamp(boot_id="a", mono_s=1.0, utc_s=START_UTC_S, synced=True, trusted_s=1.0)
GARDEN_JSON = load_garden(find_garden("hollin-lane")).model_dump_json()
RESERVE = Reserve(
    dose="d1", watering="w1", bed="south", valve="south", by="policy", from_utc_s=START_UTC_S,
    open_s=600.0, reserved_l=30.0, want_l=20.0, epoch=1, seq_high=9, trusted_s=1.0,
)  # fmt: skip
SETTLE = Settle(
    dose="d1", outcome=Outcome.CONFIRMED, open_s=500.0, charged_l=21.0, credited_l=19.5,
    ended_trusted_s=600.0,
)  # fmt: skip


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_every_row_that_is_kept_gets_out(tmp_path: Path) -> None:
    store = Store.open(DataFolder(tmp_path / "data"))
    began = Started(
        at_utc_s=START_UTC_S, mono_s=0.0, trusted_s=0.0, stored_epoch=0, garden_json=GARDEN_JSON
    )
    link = LinkUp(at_utc_s=START_UTC_S + 1.0, mono_s=1.0)
    store.commit(began, [SaveEpoch(epoch=1)], durable=True, stamp=STAMP)
    store.commit(link, [RESERVE], durable=True, stamp=STAMP)
    store.commit(link, [SETTLE], durable=True, stamp=STAMP)
    formula = Note(what="order", bed="south", code="note", text="=HYPERLINK(1)", numbers={"x": 1.0})
    for n in range(1200):  # more than two pages of the log and one of the journal
        value = 0.1 + n / 7.0
        told = ProbeReading(at_utc_s=START_UTC_S + n, mono_s=float(n), probe="p", value=value)
        store.commit(told, [formula], durable=False, stamp=STAMP)
    store.close()
    out = tmp_path / "out"
    words = ["export", "hollin-lane", "--out", str(out), "--all", "--data", str(tmp_path / "data")]
    said = CliRunner().invoke(main, words)
    assert said.exit_code == 0, said.output
    (ledger,) = rows(out / "ledger.csv")
    assert (ledger["dose"], ledger["outcome"], ledger["credited_l"]) == ("d1", "CONFIRMED", "19.5")
    log = rows(out / "log.csv")
    assert len(log) == 1200
    assert log[7]["text"] == "'=HYPERLINK(1)"
    assert json.loads(log[7]["numbers"]) == {"x": 1.0}
    readings = rows(out / "readings.csv")
    assert [float(row["value"]) for row in readings] == [0.1 + n / 7.0 for n in range(1200)]
    journal = [json.loads(line) for line in (out / "journal.jsonl").read_text().splitlines()]
    assert [line["event"]["kind"] for line in journal] == ["started", "link_up", "link_up"]
    assert journal[1]["effects"][0]["dose"] == "d1"
    assert (out / "garden.json").read_text().strip() == GARDEN_JSON
    assert f"{out / 'readings.csv'}: 1200 rows" in said.output
