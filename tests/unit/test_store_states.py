"""A state comes back from the database as it was, and a damaged one is no state."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.datafolder import DataFolder
from controller.engine import Engine
from controller.events import LinkUp
from controller.garden import load_garden
from controller.store import Store
from controller.store_states import MARK, packed, unpacked
from controller.trusted import ClockStamp
from sim.examples import find_garden

STAMP = ClockStamp(boot_id="a", mono_s=0.0, utc_s=1e9, synced=True, trusted_s=0.0)


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_what_is_packed_comes_back(state_json: str) -> None:
    assert unpacked(packed(state_json)) == state_json


def test_a_state_that_an_older_program_kept_is_read_as_it_stands() -> None:
    assert unpacked('{"beds": {}}') == '{"beds": {}}'


@pytest.mark.parametrize("damaged", [f"{MARK}?", MARK, packed('{"a": 1}')[:-8], f"{MARK}AAAA"])
def test_a_damaged_state_is_none(damaged: str) -> None:
    assert unpacked(damaged) == ""


def test_an_engine_goes_on_from_a_packed_state(tmp_path: Path) -> None:
    dumped = Engine(load_garden(find_garden("hollin-lane"))).dump().decode()
    store = Store.open(DataFolder(tmp_path))
    store.commit(LinkUp(at_utc_s=1e9, mono_s=0.0), [], durable=True, stamp=STAMP)
    store.save_snapshot("1", dumped)
    kept = store._query("SELECT state FROM snapshots", ())[0]["state"]
    assert len(kept) < len(dumped) / 2
    assert store.newest_snapshot().state_json == dumped
    assert Engine.load(dumped.encode()).dump().decode() == dumped
    store.close()


def test_what_goes_is_not_written_over_with_zeros(tmp_path: Path) -> None:
    store = Store.open(DataFolder(tmp_path))
    assert store._query("PRAGMA secure_delete", ())[0]["secure_delete"] == 0
    store.close()
