"""A garden spoken of in gallons, inches and pounds: typed, kept metric, shown as it was typed."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from api import look
from api.amounts import Amount
from api.cli import main
from api.desk import FakeDesk
from api.http import create_app
from api.page import typed
from controller.datafolder import DataFolder
from controller.effects import Answer
from controller.store import Store
from controller.us_units import Typed, converted, for_people, in_us_units
from sim.examples import find_garden

METRIC_LEFT = re.compile(r"\d ?(?:L|mm|cm|kg|°C|litres?|kilograms?|m/s)\b")
RIGHT = "the-operators-token"
MEASURES = {"volume": typed.VOLUME, "mass": typed.MASS, "depth": typed.DEPTH}
TYPED = st.decimals(min_value="0.001", max_value="9999", places=3, allow_nan=False)


@pytest.fixture
def desk() -> FakeDesk:
    desk = FakeDesk()
    desk.set(garden={**desk.view()["garden"], "units": "us"})
    return desk


@pytest.fixture
def client(desk: FakeDesk) -> TestClient:
    return TestClient(
        create_app(desk, token=RIGHT, monotonic=lambda: 0.0),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
        headers={"Origin": "http://localhost:8470"},
        follow_redirects=False,
    )


def key_on(client: TestClient, path: str) -> str:
    found = re.search(r'name="key" value="([^"]+)"', client.get(path).text)
    assert found is not None
    return found[1]


def words_of(html: str) -> str:
    """What is read on a page: text and what is said of pictures."""
    labels = " ".join(re.findall(r'aria-label="([^"]*)"', html))
    bare = re.sub(r"<(style|script)[^>]*>.*?</\1>|<[^>]+>", " ", html, flags=re.S)
    return f"{labels} {bare}".replace("\u00a0", " ")


# -- nothing drifts


@pytest.mark.parametrize("measure", MEASURES.values(), ids=list(MEASURES))
@pytest.mark.parametrize("us", [True, False], ids=["us", "metric"])
@given(number=TYPED)
def test_a_typed_amount_comes_back_to_the_last_decimal(
    measure: typed.Measure, us: bool, number: Any
) -> None:
    unit = measure.unit(us=us)
    kept = typed.in_form(measure, {unit.field: str(number)}, "", 1e7)
    assert round(kept.si / unit.si_per_one, 3) == float(number)
    again = typed.in_form(measure, {unit.field: f"{kept.si / unit.si_per_one:.3f}"}, "", 1e7)
    assert again.si == kept.si, "typed again as shown, it is the same"
    assert kept.said == f"{float(number):.10g} {unit.short}"


@given(number=TYPED)
def test_what_the_engine_says_back_rounded_is_said_as_typed(number: Any) -> None:
    kept = typed.in_form(typed.VOLUME, {"gallons": str(number)}, "", 1e7)
    said = in_us_units(f"South got {kept.si:.0f} L by hand.", kept)
    assert said == f"South got {float(number):.10g} gal by hand."


# -- sentences


@pytest.mark.parametrize(
    ("metric", "us"),
    [
        ("It gets 300 L, deeply.", "It gets 79 gal, deeply."),
        ("South got 36 of 60 L.", "South got 9.5 of 16 gal."),
        ("Felt dry at 20 cm.", "Felt dry at 8 in."),
        ("6 mm at 60 %, 12 to 24 °C", "0.24 in at 60 %, 54 to 75 °F"),
        ("Below 2 °C nothing opens; −5 °C is frost.", "Below 36 °F nothing opens; 23 °F is frost."),
        ("4.2 kg picked on 2026-07-03", "9.3 lb picked on 2026-07-03"),
        (
            "20.0 L/min flowed where 12.0 L/min should",
            "5.28 gal/min flowed where 3.17 gal/min should",
        ),
        ("wind is missing, 2 m/s taken", "wind is missing, 4 mph taken"),
        ("Were 5 more mm of rain sure to come", "Were 0.20 more in of rain sure to come"),
        ("The tank holds between 0 and 1000 L.", "The tank holds between 0 and 264 gal."),
        ("at the slowest bed, 2 L/h", "at the slowest bed, 0.53 gal/h"),
    ],
    ids=lambda text: text[:20],
)
def test_amounts_in_our_sentences_are_turned(metric: str, us: str) -> None:
    assert for_people(metric, "us") == us
    assert for_people(metric, "metric") == metric


@pytest.mark.parametrize(
    "text",
    [
        "34 % used by sunrise, its line is 40 %.",
        "It opens at 22:00 in 3 pulses.",
        "beds.south.emitters = 24",
        "Bed L4 lacks nothing.",
        "0.30 m3/m3 and 12 Low",
    ],
)
def test_what_is_no_amount_stays(text: str) -> None:
    assert in_us_units(text) == text


def test_a_typed_amount_stands_in_only_for_its_own_number() -> None:
    kept = Typed(si=11.356, unit="L", said="3 gal")
    assert in_us_units("11 L of 400 L", kept) == "3 gal of 106 gal"
    assert in_us_units("11 cm", kept) == "4 in"
    assert converted("0", "L") == ("0", "gal")


# -- the page


@pytest.mark.parametrize(
    ("page", "action", "form", "kept", "si"),
    [
        ("hand", "soil", {"feel": "dry", "inches": "8"}, "depth_cm", 20.32),
        ("hand", "poured", {"gallons": "10"}, "litres", 37.854),
        ("hand", "poured", {"litres": "10"}, "litres", 10.0),
        ("pick", "pick", {"pounds": "4.125", "on": "2026-07-14"}, "kg", 1.8711),
        ("pick", "pick", {"kg": "4.125", "on": "2026-07-14"}, "kg", 4.125),
    ],
    ids=["inches", "gallons", "an-older-page-in-litres", "pounds", "an-older-page-in-kg"],
)
def test_a_form_is_read_in_the_unit_that_its_field_names(
    client: TestClient,
    desk: FakeDesk,
    page: str,
    action: str,
    form: dict[str, str],
    kept: str,
    si: float,
) -> None:
    key = key_on(client, f"/beds/south/{page}")
    answer = client.post(f"/do/beds/south/{action}", data={"key": key, **form})
    assert answer.status_code == 200, answer.text
    assert desk.orders[-1][kept] == si


def test_the_tank_is_told_in_gallons(client: TestClient, desk: FakeDesk) -> None:
    desk.set(supply={"tank_l": 1000.0, "tank_left_l": 378.5411784})
    shown = client.get("/tank").text
    assert "100 gal of 264 gal" in words_of(shown)
    assert 'name="gallons"' in shown
    desk.answer = Answer(order="o", status="accepted", text="The tank holds 189 L.")
    said = client.post("/do/tank", data={"key": key_on(client, "/tank"), "gallons": "50"}).text
    assert desk.orders[-1]["litres"] == 189.271
    assert "The tank holds 50 gal." in words_of(said)


def test_water_is_asked_planned_and_ordered_in_gallons(client: TestClient, desk: FakeDesk) -> None:
    asked = client.get("/beds/south/water")
    assert 'name="gallons"' in asked.text
    assert re.search(r"Between \d+ and \d+ gal now", words_of(asked.text))
    plan = client.get("/beds/south/water?how=gallons&gallons=12.5")
    assert "gives about 13 gal" in words_of(plan.text)
    amount = re.search(r'name="amount" value="([^"]+)"', plan.text)
    key = re.search(r'name="key" value="([^"]+)"', plan.text)
    assert amount is not None
    assert key is not None
    assert amount[1] == "47.318", "litres, to the millilitre"
    form = {"key": key[1], "how": "litres", "amount": amount[1]}
    client.post("/do/beds/south/water", data=form)
    assert desk.orders[-1]["litres"] == 47.318


def test_too_many_gallons_are_refused_in_gallons(client: TestClient) -> None:
    said = client.get("/beds/south/water?how=gallons&gallons=99999")
    assert said.status_code == 422
    assert "The gallons must be a number such as 40 or 2.5," in words_of(said.text)
    assert "above 0 and at most 26416." in words_of(said.text)


@pytest.mark.parametrize("text", ["1,000", "12,500"])
def test_a_comma_that_can_mean_two_things_is_refused(client: TestClient, text: str) -> None:
    said = client.get(f"/beds/south/water?how=gallons&gallons={text}")
    assert said.status_code == 422
    assert f"{text} can be read in two ways: write {text.replace(',', '')} or" in said.text


def _busy(desk: FakeDesk) -> None:
    running = {"want_l": 60.0, "given_l": 36.0, "pulse": 1, "pulses": 1, "by": "policy"}
    reason = {
        "code": "at_line",
        "text": "South comes to its thirst line. It gets 300 L, deeply.",
        "numbers": {"dose_l": 300.0, "dose_mm": 12.5, "rain_expected_mm": 4.0, "blind_d": 3.0},
    }
    change = {"text": "Were 5 mm of rain sure to come, it would wait."}
    desk.set_bed(
        "south",
        state="watering",
        valve="open",
        watering=running,
        reason=reason,
        would_change=[change],
        felt={"feel": "dry", "depth_cm": 20.0, "at": "2026-07-15T14:30:00Z"},
        poured={"litres": 11.356, "at": "2026-07-15T14:30:00Z"},
    )
    desk.set(
        supply={"week_l": 3000.0, "week_left_l": 420.0, "tank_l": 1000.0, "tank_left_l": 300.0},
        alerts=[
            {
                "id": "a1",
                "code": "burst",
                "bed": None,
                "valve": None,
                "probe": None,
                "since": "2026-07-15T17:12:00Z",
                "text": "20.0 L/min flowed where 12.0 L/min should: a pipe may have burst.",
                "person_needed": True,
            }
        ],
    )


PAGES = (
    "/",
    "/?span=30",
    "/?span=season",
    "/beds/south/water",
    "/beds/south/water?how=minutes&minutes=20",
    "/beds/south/hand",
    "/beds/south/pick",
    "/beds/south/learned",
    "/tank",
    "/walk",
    "/sky",
    "/season",
    "/alerts/a1/clear",
)


@pytest.mark.parametrize("path", PAGES)
def test_no_page_of_such_a_garden_speaks_metric(
    client: TestClient, desk: FakeDesk, path: str
) -> None:
    _busy(desk)
    answer = client.get(path)
    assert answer.status_code == 200
    found = [hit[0] for hit in METRIC_LEFT.finditer(words_of(answer.text))]
    assert found == []
    assert not re.search(r'name="(litres|kg|depth)"', answer.text)


@pytest.mark.parametrize("path", ["/api/garden", "/api/season"])
def test_the_api_stays_metric(client: TestClient, desk: FakeDesk, path: str) -> None:
    _busy(desk)
    us = client.get(path).json()
    desk.set(garden={**desk.view()["garden"], "units": "metric"})
    metric = client.get(path).json()
    assert us.get("beds") == metric["beds"]


def test_files_of_the_book_stay_metric(client: TestClient) -> None:
    text = client.get("/season/picks.csv").text
    assert text.splitlines()[0] == "bed,on,variety,kg,cracked,black_ended"
    assert "in litres, millimetres and kilograms" in client.get("/season").text


# -- the shell


@pytest.fixture
def run(
    desk: FakeDesk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., tuple[Any, list[dict[str, object]]]]:
    """Run a command against this garden; what was sent is kept."""
    sent: list[dict[str, object]] = []

    def told(folder: object, path: str, body: dict[str, object], *more: object) -> dict[str, Any]:
        sent.append(body)
        litres = body.get("litres")
        return {"text": f"South got {litres:.0f} L by hand." if litres else "Kept."}

    monkeypatch.setattr(look, "sent", told)
    monkeypatch.setattr(look, "garden_now", lambda folder: desk.view())

    def runs(*words: str) -> tuple[Any, list[dict[str, object]]]:
        return CliRunner().invoke(main, [*words, "--data", str(tmp_path)]), sent

    return runs


@pytest.mark.parametrize(
    ("words", "kept"),
    [
        (("poured", "south", "10"), {"litres": 37.854}),
        (("poured", "south", "10gal"), {"litres": 37.854}),
        (("poured", "south", "10 L"), {"litres": 10.0}),
        (("soil", "south", "dry"), {"feel": "dry", "depth_cm": 20.0}),
        (("soil", "south", "dry", "--depth", "8"), {"feel": "dry", "depth_cm": 20.32}),
        (("soil", "south", "dry", "--depth", "8in"), {"feel": "dry", "depth_cm": 20.32}),
        (("tank", "50"), {"litres": 189.271}),
        (("tank", "300L"), {"litres": 300.0}),
        (("tank", "0"), {"litres": 0.0}),
    ],
    ids=lambda told: " ".join(told) if isinstance(told, tuple) else "",
)
def test_a_bare_number_is_in_the_gardens_unit_and_a_named_one_in_its_own(
    run: Callable[..., Any], words: tuple[str, ...], kept: dict[str, object]
) -> None:
    result, sent = run("record", *words)
    assert result.exit_code == 0, result.output
    assert sent == [kept]


def test_what_was_typed_is_said_back_by_the_command(run: Callable[..., Any]) -> None:
    result, _ = run("record", "poured", "south", "3")
    assert "South got 3 gal by hand." in result.output


def test_pounds_are_told_as_such(run: Callable[..., Any]) -> None:
    _, sent = run("record", "pick", "south", "--lb", "4.125")
    assert sent[-1]["kg"] == 1.8711
    _, sent = run("record", "pick", "south", "--kg", "4.125")
    assert sent[-1]["kg"] == 4.125
    result, _ = run("record", "pick", "south", "--kg", "4", "--lb", "4")
    assert result.exit_code == 2


@pytest.mark.parametrize("text", ["40 stone", "L", "-3", "nan", "1,000", "4e3gal"])
def test_what_is_no_amount_is_refused_by_the_command(run: Callable[..., Any], text: str) -> None:
    result, sent = run("record", "poured", "--", "south", text)
    assert result.exit_code == 2
    assert sent == []


@pytest.mark.parametrize("words", [("check",), ("card",), ("season",)], ids=lambda told: told[0])
def test_what_a_command_makes_of_such_a_garden_file_speaks_no_metric(
    words: tuple[str, ...], tmp_path: Path
) -> None:
    path = tmp_path / "plot.toml"
    text = find_garden("hollin-lane").read_text(encoding="utf-8")
    path.write_text(text.replace('units = "metric"', 'units = "us"'), encoding="utf-8")
    more: tuple[str, ...] = ()
    if words == ("season",):
        folder = DataFolder(tmp_path / "data")
        Store.open(folder).close()
        folder.unlock()
        more = ("--data", str(folder.path))
    result = CliRunner().invoke(main, [*words, str(path), *more])
    assert result.exit_code == 0, result.output
    assert METRIC_LEFT.findall(result.output) == []


def test_an_amount_that_was_read_already_stays() -> None:
    once = Amount(typed.VOLUME).convert("40", None, None)
    assert Amount(typed.VOLUME).convert(once, None, None) is once


@pytest.mark.parametrize("words", [("status",), ("why", "south")], ids=["status", "why"])
def test_commands_speak_the_gardens_units(
    run: Callable[..., Any], desk: FakeDesk, words: tuple[str, ...]
) -> None:
    _busy(desk)
    result, _ = run(*words)
    assert result.exit_code == 0, result.output
    assert METRIC_LEFT.findall(result.output) == []
    assert " gal" in result.output
    as_json, _ = run(*words, "--json")
    assert "gal" not in json.dumps(json.loads(as_json.output))
