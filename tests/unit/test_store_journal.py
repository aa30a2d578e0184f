import dataclasses
import enum
import types
import typing
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.datafolder import DataFolder
from controller.effects import Close, Effect, Note, Outcome, Reserve, SaveEpoch, Settle
from controller.errors import StoreError
from controller.events import Event, LinkDown, LinkUp, ProbeReading, Tick
from controller.store import Store, effects_json, needs_disk, open_reader
from controller.store_batches import MOST_LINES
from controller.store_reads import HourRow
from controller.trusted import ClockStamp

STAMP = ClockStamp(boot_id="a", mono_s=10.0, utc_s=1_783_000_000.0, synced=True, trusted_s=10.0)
EVENT_KINDS = typing.get_args(typing.get_args(Event)[0])
FINITE = st.floats(allow_nan=False, allow_infinity=False)
PLAIN: dict[Any, st.SearchStrategy[Any]] = {
    float: FINITE,
    int: st.integers(),
    str: st.text(max_size=12),
    bool: st.booleans(),
    types.NoneType: st.none(),
}


def of(kind: Any) -> st.SearchStrategy[Any]:
    """All finite values of a field's type."""
    if kind in PLAIN:
        return PLAIN[kind]
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if origin is typing.Literal:
        return st.sampled_from(args)
    if origin is tuple:
        return st.lists(of(args[0]), max_size=3).map(tuple)
    if origin in (types.UnionType, typing.Union):
        return st.one_of(*map(of, args))
    if isinstance(kind, type) and issubclass(kind, enum.Enum):
        return st.sampled_from(kind)
    assert isinstance(kind, type), kind
    assert dataclasses.is_dataclass(kind), kind
    hints = typing.get_type_hints(kind)
    return st.builds(kind, **{field: of(hint) for field, hint in hints.items()})


def tick(mono_s: float) -> Tick:
    return Tick(at_utc_s=1_783_000_000.0 + mono_s, mono_s=mono_s)


def reading(mono_s: float, probe: str = "south-20") -> ProbeReading:
    return ProbeReading(
        at_utc_s=1_783_000_000.0 + mono_s, mono_s=mono_s, probe=probe, value=0.21, seq=4, boot="b"
    )


@pytest.fixture
def folder(tmp_path: Path) -> DataFolder:
    return DataFolder(tmp_path)


@pytest.fixture
def store(folder: DataFolder) -> Iterator[Store]:
    opened = Store.open(folder)
    yield opened
    opened.close()


def seen_by_another(folder: DataFolder) -> list[Event]:
    with open_reader(folder) as reader:
        return [row.event for row in reader.journal()]


@pytest.mark.parametrize("kind", EVENT_KINDS, ids=lambda kind: kind.__name__)
def test_each_kind_of_event_comes_back_bit_for_bit(kind: type, store: Store) -> None:
    @settings(
        max_examples=40, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True
    )
    @given(event=of(kind))
    def comes_back(event: Event) -> None:
        before = store.last_n()
        store.commit(event, [Close(valve="v")], durable=False, stamp=STAMP)
        store.flush()
        (row,) = store.journal(after=before)
        assert repr(row.event) == repr(event)  # repr tells -0.0 from 0.0, and 1 from 1.0
        assert row.effects_json == effects_json([Close(valve="v")])

    comes_back()


@pytest.mark.parametrize(
    "odd",
    [
        pytest.param({"value": -0.0}, id="negative-zero"),
        pytest.param({"seq": 2**63}, id="counter-past-64-bits"),
        pytest.param({"value": 5e-324}, id="smallest-double"),
        pytest.param({"value": 1.7976931348623157e308}, id="largest-double"),
        pytest.param({"soil_temp_c": None, "boot": None}, id="absent"),
    ],
)
def test_odd_reading_comes_back_bit_for_bit(store: Store, odd: dict[str, Any]) -> None:
    event = dataclasses.replace(reading(1.0), **odd)
    store.commit(event, [], durable=True, stamp=STAMP)
    (row,) = store.journal()
    assert repr(row.event) == repr(event)


def test_order_of_readings_and_others_is_the_order_of_commits(
    store: Store, folder: DataFolder
) -> None:
    events: list[Event] = []
    for i in range(MOST_LINES + 50):
        at = 1_783_000_000.0 - i % 7  # a wall clock that jumps about
        events.append(
            LinkUp(at_utc_s=at, mono_s=float(i))
            if i % 3
            else ProbeReading(at_utc_s=at, mono_s=float(i), probe="p", value=0.2)
        )
    for event in events:
        store.commit(event, [], durable=False, stamp=STAMP)
    store.flush()
    assert seen_by_another(folder) == events


def test_two_readings_of_one_probe_at_one_instant_are_both_kept(store: Store) -> None:
    store.commit(reading(1.0), [], durable=False, stamp=STAMP)
    store.commit(reading(1.0), [], durable=True, stamp=STAMP)
    assert [row.event for row in store.journal()] == [reading(1.0), reading(1.0)]


def test_reading_is_written_once(store: Store) -> None:
    store.commit(reading(1.0), [], durable=True, stamp=STAMP)
    assert [r["n"] for r in store._query("SELECT n FROM recent", ())] == [1]
    assert store._query("SELECT n FROM batches", ()) == []


def test_tick_without_effect_is_not_journalled(store: Store) -> None:
    store.commit(tick(1.0), [], durable=False, stamp=STAMP)
    store.commit(tick(2.0), [Close(valve="v")], durable=False, stamp=STAMP)
    store.flush()
    assert [row.event for row in store.journal()] == [tick(2.0)]


def test_others_see_what_waits_only_after_the_flush(store: Store, folder: DataFolder) -> None:
    store.commit(reading(1.0), [], durable=False, stamp=STAMP)
    assert seen_by_another(folder) == []
    assert store.pending == 1
    store.flush()
    assert seen_by_another(folder) == [reading(1.0)]
    assert store.pending == 0


def test_durable_commit_is_seen_at_once_with_all_that_waited_before_it(
    store: Store, folder: DataFolder
) -> None:
    store.commit(reading(1.0), [], durable=False, stamp=STAMP)
    store.commit(LinkUp(at_utc_s=2.0, mono_s=2.0), [], durable=True, stamp=STAMP)
    assert seen_by_another(folder) == [reading(1.0), LinkUp(at_utc_s=2.0, mono_s=2.0)]


def test_close_writes_what_waits(folder: DataFolder) -> None:
    store = Store.open(folder)
    store.commit(reading(1.0), [], durable=False, stamp=STAMP)
    store.close()
    again = Store.open(folder)
    assert [row.event for row in again.journal()] == [reading(1.0)]
    again.commit(reading(2.0), [], durable=True, stamp=STAMP)
    assert [row.n for row in again.journal()] == [1, 2]
    again.close()


RESERVE = Reserve(
    dose="d1",
    watering="w1",
    bed="south",
    valve="v",
    by="policy",
    from_utc_s=1.0,
    open_s=60.0,
    reserved_l=1.0,
    want_l=1.0,
    epoch=1,
    seq_high=1,
    trusted_s=0.0,
)
SETTLE = Settle(
    dose="d1",
    outcome=Outcome.CONFIRMED,
    open_s=60.0,
    charged_l=1.0,
    credited_l=1.0,
    ended_trusted_s=60.0,
)


@pytest.mark.parametrize(
    ("effects", "needed"),
    [
        pytest.param([], False, id="nothing"),
        pytest.param([Close(valve="v")], False, id="close-never-waits"),
        pytest.param([Note(what="decision", bed=None, code="c", text="t")], False, id="note"),
        pytest.param(
            [Note(what="hold", bed=None, code="c", text="t", durable=True)], True, id="durable-note"
        ),
        pytest.param([SaveEpoch(epoch=1)], True, id="epoch"),
        pytest.param([Close(valve="v"), RESERVE], True, id="reservation"),
        pytest.param([SETTLE], True, id="settlement"),
    ],
)
def test_only_what_something_waits_for_needs_the_disk(effects: list[Effect], needed: bool) -> None:
    assert needs_disk(effects) is needed


def test_what_needs_the_disk_is_there_even_when_the_caller_forgot(
    store: Store, folder: DataFolder
) -> None:
    event = LinkDown(at_utc_s=1.0, mono_s=1.0)
    store.commit(event, [SaveEpoch(epoch=3)], durable=False, stamp=STAMP)
    assert seen_by_another(folder) == [event]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_number_that_is_not_finite_is_refused_and_blocks_nothing(
    store: Store, value: float
) -> None:
    store.commit(reading(1.0), [], durable=False, stamp=STAMP)
    bad = dataclasses.replace(reading(2.0), value=value)
    with pytest.raises(StoreError, match="not finite"):
        store.commit(bad, [], durable=False, stamp=STAMP)
    note = Note(what="decision", bed=None, code="c", text="t", numbers={"x": value})
    with pytest.raises(StoreError, match="not finite"):
        store.commit(reading(3.0), [note], durable=True, stamp=STAMP)
    store.commit(reading(4.0), [], durable=True, stamp=STAMP)
    assert [row.event.mono_s for row in store.journal()] == [1.0, 4.0]


def test_reader_cannot_write(store: Store, folder: DataFolder) -> None:
    del store
    with open_reader(folder) as reader, pytest.raises(StoreError, match="readonly"):
        reader._query("DELETE FROM meta RETURNING id", ())


def test_reader_of_an_empty_folder_is_a_store_error(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path / "none")
    with pytest.raises(StoreError, match="there is no record here"), open_reader(folder):
        pass
    assert list(folder.path.iterdir()) == []


def test_prefilled_hours_are_history(store: Store) -> None:
    rows = [
        HourRow(bed="south", hour_utc_s=3_600 * i, depletion_frac=0.1, line_frac=0.4)
        for i in range(5)
    ]
    store.add_history(rows)
    store.add_history(rows[:2])
    assert store.history("south", 3_600.0, 10_800.0) == tuple(rows[1:3])
