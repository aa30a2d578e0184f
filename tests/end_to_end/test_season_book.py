"""The season book of a replayed month is right to the litre against the ledger."""

from __future__ import annotations

import csv
import json
import re
from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from api.cli import main
from api.desk import FakeDesk
from api.http import create_app
from controller.datafolder import DataFolder
from controller.effects import Effect
from controller.events import Event, Order, OrderKind, ProbeReading
from controller.garden import load_garden
from controller.store import Store, open_reader
from controller.trusted import ClockStamp
from sim.examples import find_garden
from sim.garden_world import GardenWorld, Span, midnight_utc_s, moved_to, season_for
from sim.replay import EngineReplay

DAYS = 24
RIGHT = "the-operators-token"
YEAR = 2025


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with the record of some July weeks, five picks and a note in it."""
    return live(tmp_path_factory.mktemp("book") / "data", (7, 1), DAYS)


def live(place: Path, month_day: tuple[int, int], days: int) -> Path:
    """Live so many days from that one on, with invented picks, and keep the record."""
    garden = load_garden(find_garden("hollin-lane"))
    season = season_for(garden, "invented-dry")
    garden = moved_to(garden, season.daily[0].date.year)
    first = date(season.daily[0].date.year, *month_day)
    span = Span(
        first=first,
        last=first + timedelta(days=days),
        from_utc_s=midnight_utc_s(garden, first),
        to_utc_s=midnight_utc_s(garden, first + timedelta(days=days + 1)),
    )
    world = GardenWorld(garden, season, span.from_utc_s, seed=3, sure=True)
    live = EngineReplay(garden, world, span)
    folder = DataFolder(place)
    store = Store.open(folder)
    think = live.engine.step

    def step(event: Event) -> Sequence[Effect]:
        done = think(event)
        if done and not isinstance(event, ProbeReading):
            stamp = ClockStamp(
                boot_id="b",
                mono_s=event.mono_s,
                utc_s=event.at_utc_s,
                synced=True,
                trusted_s=event.mono_s,
            )
            store.commit(event, done, durable=False, stamp=stamp)
        return done

    live.engine.step = step  # type: ignore[method-assign]
    told = [
        (7, "south", {"kg": 4.0, "cracked": 2}),
        (10, "south", {"kg": 5.5, "black_ended": 1}),
        (10, "wall", {"kg": 3.0}),
        (14, "low", {"kg": 2.5, "cracked": 7}),
        (20, "hedge", {"kg": 1.0}),
    ]
    for index, (day, bed, fruit) in enumerate(told):
        on = first + timedelta(days=day)
        live.go(midnight_utc_s(garden, on) + 8 * 3600.0)
        step(_order(live, f"p{index}", OrderKind.PICK, bed, on=on.isoformat(), **fruit))
    step(_order(live, "n", OrderKind.NOTE, "south", text="straw laid"))
    live.go(span.to_utc_s - 1800.0)
    store.flush()
    store.close()
    folder.unlock()
    return folder.path


def _order(live: EngineReplay, name: str, what: OrderKind, bed: str, **more: Any) -> Order:
    return Order(
        at_utc_s=live.at_utc_s,
        mono_s=live.now_s,
        order=name,
        what=what,
        who="operator",
        bed=bed,
        **more,
    )


def thirstline(*words: str) -> str:
    said = CliRunner().invoke(main, list(words))
    assert said.exit_code == 0, said.output
    return said.output


def book(lived: Path) -> dict[str, Any]:
    told = thirstline(
        "season", "hollin-lane", "--from", f"{YEAR}-05-01", "--data", str(lived), "--json"
    )
    found: dict[str, Any] = json.loads(told)
    return found


def test_litres_and_waterings_are_the_ledgers(lived: Path) -> None:
    are_the_ledgers(lived, 8)


@pytest.mark.slow
def test_a_whole_seasons_litres_are_the_ledgers(tmp_path: Path) -> None:
    are_the_ledgers(live(tmp_path / "data", (5, 9), 150), 60)


def are_the_ledgers(lived: Path, waterings: int) -> None:
    with open_reader(DataFolder(lived, make=False)) as reader:
        rows = reader._query("SELECT bed, dose, charged_l, credited_l, outcome FROM ledger", ())
    shown = book(lived)["beds"]
    assert sum(bed["waterings"] for bed in shown.values()) >= waterings
    for name, bed in shown.items():
        of_it = [row for row in rows if row["bed"] == name and row["outcome"] != "NEVER_SENT"]
        assert bed["litres"] == pytest.approx(sum(row["credited_l"] for row in of_it), abs=0.5)
        assert bed["most_litres"] == pytest.approx(sum(row["charged_l"] for row in of_it), abs=0.5)


def test_a_drier_line_is_reckoned_beside_the_ledger(lived: Path) -> None:
    with open_reader(DataFolder(lived, make=False)) as reader:
        rows = reader._query("SELECT bed, credited_l, outcome FROM ledger", ())
    found = book(lived)["drier"]
    credited_l = sum(row["credited_l"] for row in rows if row["outcome"] != "NEVER_SENT")
    assert found["reckoned_beds"] == 4
    assert found["given_litres"] == pytest.approx(credited_l, abs=0.5), "right to the litre"
    miss_l = abs(found["same_litres"] - found["given_litres"])
    assert miss_l <= found["miss_litres"] < 0.15 * found["given_litres"]
    assert abs(found["same_waterings"] - found["given_waterings"]) <= 4
    assert found["waterings"] <= found["same_waterings"]


def test_the_page_of_that_season_answers_the_three_questions(lived: Path) -> None:
    with open_reader(DataFolder(lived, make=False)) as reader:
        rows = reader._query("SELECT bed, credited_l FROM ledger WHERE outcome != 'NEVER_SENT'", ())
    given_l: dict[str, float] = defaultdict(float)
    for row in rows:
        given_l[row["bed"]] += row["credited_l"]
    most = max(given_l, key=lambda bed: given_l[bed])
    desk = FakeDesk(("south", "wall", "low", "hedge"))
    desk.book = book(lived)
    app = create_app(desk, token=RIGHT, monotonic=lambda: 0.0)
    page = TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5)).get("/season")
    came = page.text.replace("\u00a0", " ").partition('<ul class="came">')[2].partition("</ul>")[0]
    said = re.findall(r"<li>(.*?)</li>", came)
    (drank,) = [one for one in said if "drank most" in one]
    assert drank.startswith(f"{most.capitalize()} drank most: {given_l[most]:.0f} L in ")
    (cracked,) = [one for one in said if "most cracked" in one]
    assert cracked.startswith("Of bush paste most cracked: 7 fruit in 2.5 kg, of the others 2 in ")
    (drier,) = [one for one in said if "thirst line been" in one]
    found = desk.book["drier"]
    change_l = abs(found["litres"] - found["same_litres"])
    assert f"{change_l:.0f} L" in drier or "as much water" in drier
    small = re.sub(r"\s+", " ", page.text.replace("\u00a0", " "))
    assert f"the valves gave {found['given_litres']:.0f} L: so far it may be out" in small
    assert f"added up, by {found['miss_litres']:.0f} L." in small
    assert f"may be out by {found['miss_litres']:.0f} L: see the small print" in drier


def test_fruit_and_notes_stand_in_it(lived: Path) -> None:
    shown = book(lived)
    assert shown["beds"]["south"]["fruit"] == {
        "picks": 2,
        "kg": 9.5,
        "cracked": 2,
        "black_ended": 1,
    }
    assert [note["text"] for note in shown["beds"]["south"]["notes"]] == ["operator: straw laid"]
    low = shown["beds"]["low"]["picks"][0]
    assert low["swing"]["back_frac"] > 0.1
    assert shown["last"] == f"{YEAR}-07-25"


def test_the_command_says_it_in_eighty_columns(lived: Path) -> None:
    said = thirstline("season", "hollin-lane", "--from", f"{YEAR}-06-01", "--data", str(lived))
    table = said.partition("bed  ")[2]
    assert all(len(line) <= 80 for line in table.splitlines())
    assert "drank most" in said
    assert "Had each thirst line been 5 points drier, the garden would have taken" in said
    assert "Most cracked in Low on 15 Jul, 2.8 fruit a kilogram" in said


def test_the_files_hold_every_row(lived: Path, tmp_path: Path) -> None:
    out = tmp_path / "csv"
    words = ("--from", f"{YEAR}-06-01", "--data", str(lived))
    said = thirstline("export", "hollin-lane", "--out", str(out), *words)
    assert "picks.csv: 5 rows" in said
    shown = book(lived)
    with (out / "waterings.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(shown["waterings"])
    litres = sum(float(row["litres"]) for row in rows)
    assert litres == pytest.approx(sum(bed["litres"] for bed in shown["beds"].values()), abs=0.5)
    with (out / "hours.csv").open(newline="", encoding="utf-8") as file:
        assert sum(1 for _ in csv.DictReader(file)) >= 4 * 24 * DAYS
