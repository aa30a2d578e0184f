"""A season's record read for a fit: out of the store, and out of CSV files."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from controller.datafolder import DataFolder
from controller.effects import Note, Outcome, Reserve, SaveEpoch, Settle
from controller.errors import SeasonError
from controller.events import LinkUp, ProbeReading, WeatherReading
from controller.garden import Garden
from controller.store import Store
from controller.trusted import ClockStamp
from sim.winter.fitting.csv_record import from_csv
from sim.winter.fitting.store_record import from_store
from tests.unit.hidden_bed import tables

HOUR_S, DAY_S = 3600.0, 86_400.0
BEGIN_UTC_S = datetime(2026, 5, 9, 7, tzinfo=UTC).timestamp()  # midnight on Hollin Lane
DAYS = 6
GARDEN = Garden.model_validate(tables("wall"))


def stamp(at_s: float) -> ClockStamp:
    return ClockStamp(
        boot_id="a", mono_s=at_s, utc_s=BEGIN_UTC_S + at_s, synced=True, trusted_s=at_s
    )


def commit(store: Store, at_s: float, *effects: object) -> None:
    event = LinkUp(at_utc_s=BEGIN_UTC_S + at_s, mono_s=at_s)
    store.commit(event, list(effects), durable=True, stamp=stamp(at_s))  # type: ignore[arg-type]


def opening(store: Store, at_s: float, dose: str, outcome: Outcome, litres: float) -> None:
    reserve = Reserve(
        dose=dose, watering=dose, bed="wall", valve="wall", by="policy",
        from_utc_s=BEGIN_UTC_S + at_s, open_s=1800.0, reserved_l=90.0, want_l=70.0,
        epoch=1, seq_high=90, trusted_s=at_s,
    )  # fmt: skip
    settle = Settle(
        dose=dose, outcome=outcome, open_s=1500.0, charged_l=litres + 2.0, credited_l=litres,
        ended_trusted_s=at_s + 1500.0,
    )  # fmt: skip
    commit(store, at_s, reserve)
    commit(store, at_s + 1500.0, settle)


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six days: a mast, two probes, two openings, one that was never sent, two cans of water."""
    folder = DataFolder(tmp_path_factory.mktemp("record") / "data")
    store = Store.open(folder)
    store.recover(stamp(0.0), scaled=False)
    commit(store, 0.0, SaveEpoch(epoch=1))
    for n in range(DAYS * 72):
        at_s = 1200.0 * n
        told = WeatherReading(
            at_utc_s=BEGIN_UTC_S + at_s, mono_s=at_s, mast="mast", temp_c=15.0 + n % 72 / 9.0,
            rh_pct=70.0, solar_w_m2=200.0, wind_m_s=1.5, rain_mm_total=0.0,
        )  # fmt: skip
        store.commit(told, (), durable=False, stamp=stamp(at_s))
        for probe, value in (("wall-20", 0.20 + 0.01 * (n % 3)), ("wall-40", 23.0)):
            reading = ProbeReading(
                at_utc_s=BEGIN_UTC_S + at_s + 1.0, mono_s=at_s, probe=probe, value=value
            )
            store.commit(reading, (), durable=False, stamp=stamp(at_s))
    opening(store, 2 * DAY_S, "d1", Outcome.CONFIRMED, 60.0)
    opening(store, 3 * DAY_S, "d2", Outcome.NEVER_SENT, 0.0)
    opening(store, 4 * DAY_S, "d3", Outcome.ASSUMED_FULL, 50.0)
    for at_d, code, litres in (
        (1.0, "poured", 8.0),
        (1.1, "poured", 5.0),
        (1.2, "not_poured", -5.0),
    ):
        note = Note(what="watering", bed="wall", code=code, text="", numbers={"given_l": litres})
        commit(store, at_d * DAY_S, note)
    store.flush()
    store.close()
    folder.unlock()
    return folder.database


def test_the_store_tells_water_and_hours(database: Path) -> None:
    observed = from_store(GARDEN, database)
    assert observed.from_utc_s == BEGIN_UTC_S
    seen = observed.beds["wall"]
    assert [(one.from_utc_s - BEGIN_UTC_S, one.litres) for one in seen.water] == [
        (DAY_S, 8.0),
        (2 * DAY_S, 60.0),
        (4 * DAY_S, 50.0),
    ]
    assert seen.water[1].to_utc_s - seen.water[1].from_utc_s == 1500.0
    assert (seen.open_s, seen.valve_l) == (3000.0, 110.0)
    assert [one.probe for one in seen.probes] == ["wall-20"]
    hours = seen.probes[0]
    assert hours.theta_m3_m3[0] == pytest.approx(0.21)
    assert [b - a for a, b in zip(hours.hour_utc_s, hours.hour_utc_s[1:], strict=False)] == [
        3600
    ] * (len(hours.hour_utc_s) - 1)
    assert any("wall-40: no reading that tells water content" in note for note in observed.notes)


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SeasonError, match="own"):
        from_store(GARDEN, tmp_path / "none" / "x.sqlite")


# -- CSV


def written(folder: Path, **changed: str) -> Path:
    """A folder with three small files, some of them replaced."""
    hours = "\n".join(
        f"{datetime.fromtimestamp(BEGIN_UTC_S + n * HOUR_S, tz=UTC):%Y-%m-%dT%H:%M:%SZ},"
        f"{12 + n % 24 / 3:.1f},0"
        for n in range(24 * DAYS)
    )
    files = {
        "weather": f"time_utc,temp_c,rain_mm\n{hours}\n",
        "waterings": "begin_utc,bed,litres,minutes\n2026-05-11T04:00:00Z,wall,60,25\n",
        "readings": "time_utc,probe,theta_m3_m3\n2026-05-10T08:10:00Z,wall-20,0.21\n"
        "2026-05-10T08:40:00Z,wall-20,0.23\n",
    } | changed
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def test_three_files_make_a_record(tmp_path: Path) -> None:
    observed = from_csv(GARDEN, written(tmp_path))
    seen = observed.beds["wall"]
    assert [(one.litres, one.to_utc_s - one.from_utc_s) for one in seen.water] == [(60.0, 1500.0)]
    assert seen.probes[0].theta_m3_m3 == (pytest.approx(0.22),)
    assert observed.garden.beds["wall"].transplanted == date(2026, 5, 9)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        pytest.param(
            {"waterings": "begin_utc,bed,litres,minutes\n2026-05-11T04:00:00Z,south,60,25\n"},
            "waterings.csv, line 2: bed is 'south'; the garden file has wall",
            id="another-bed",
        ),
        pytest.param(
            {"waterings": "begin_utc,bed,litres\n"},
            "waterings.csv, line 1: the column minutes is missing",
            id="a-column-is-missing",
        ),
        pytest.param(
            {"readings": "time_utc,probe,theta_m3_m3\n2026-05-10T08:10:00Z,wall-20,21\n"},
            "readings.csv, line 2: theta_m3_m3 is '21'; 0 to 0.8 is allowed",
            id="per-cent",
        ),
        pytest.param(
            {"readings": "time_utc,probe,theta_m3_m3\n2026-05-10 08:10,wall-20,0.21\n"},
            "readings.csv, line 2: time_utc is '2026-05-10 08:10'; a time such as",
            id="no-zone",
        ),
        pytest.param(
            {"readings": "time_utc,probe,theta_m3_m3\n2026-05-10T08:10:00Z,wall-20\n"},
            "readings.csv, line 2: 2 cells, the header has 3",
            id="a-cell-is-missing",
        ),
    ],
)
def test_a_line_that_cannot_be_is_refused(
    tmp_path: Path, changed: dict[str, str], said: str
) -> None:
    with pytest.raises(SeasonError) as refused:
        from_csv(GARDEN, written(tmp_path, **changed))
    assert said in str(refused.value)
