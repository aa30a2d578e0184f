"""The sky to come as a person types it: over HTTP and on the page, whose word counts, its end."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import given, settings
from hypothesis import strategies as st

from api.desk import FakeDesk
from api.http import create_app
from api.look import sky_words
from api.page.sky import nights
from api.page.words import Tongue
from controller.bed_views import sky_of
from controller.effects import Note
from controller.engine import Engine
from controller.events import OutlookSpan, RainOutlook
from controller.sensing.foretold import beside, ends_utc_s
from controller.sensing.sky_sources import EtoSource
from controller.view import picture
from controller.watering.decision import Reason
from tests.desk_bench import EngineDesk
from tests.engine_bench import Bench
from tests.engine_garden import START_UTC_S, small_garden
from tests.unit.test_page_hand import key_on

RIGHT = "the-operators-token"
BEARER = {"Authorization": f"Bearer {RIGHT}"}
HOUR_S = 3600.0


def span(begins_h: float, hours: float, rain_mm: float = 0.0, **more: Any) -> OutlookSpan:
    return OutlookSpan(
        from_utc_s=START_UTC_S + begins_h * HOUR_S, hours=hours, rain_mm=rain_mm, **more
    )


def at(begins_h: float) -> str:
    return datetime.fromtimestamp(START_UTC_S + begins_h * HOUR_S, UTC).isoformat()


def living() -> Bench:
    return Bench(small_garden(hours="22:00-sunrise"))


def typed(bench: Bench, *spans: OutlookSpan) -> str:
    answer = bench.order("outlook", spans=spans)
    assert answer is not None
    return answer.status


def topic(bench: Bench, *spans: OutlookSpan) -> None:
    bench.step(RainOutlook(**bench.times(), spans=spans))


def foretold(bench: Bench) -> dict[str, Any]:
    told: dict[str, Any] = picture(bench.engine.run)["sky"]["foretold"]
    return told


# -- whose word counts


def test_without_a_word_nobody_foretells() -> None:
    told = foretold(living())
    assert (told["from"], told["spans"]) == (None, [])
    # and not that rain counts for nothing: the window of the next watering reckons with it
    assert told["text"] == (
        "Nobody foretells rain: no watering waits for any. "
        "Windows of the next one reckon with rain as these weeks had it."
    )


def test_a_persons_word_goes_before_the_topics_for_the_time_it_speaks_of() -> None:
    bench = living()
    topic(bench, span(0.0, 24.0, 24.0, chance_frac=0.5))
    assert sky_of(bench.engine.run).rain_expected_mm == pytest.approx(12.0, rel=0.01)
    assert "as the forecast has it that a script sends" in foretold(bench)["text"]
    assert typed(bench, span(0.0, 12.0)) == "accepted"
    assert sky_of(bench.engine.run).rain_expected_mm == pytest.approx(6.0), "the other half counts"
    told = foretold(bench)
    assert (told["from"], told["who"]) == ("typed", "tester")
    assert [one["by"] for one in told["spans"]] == ["typed", "topic"]
    assert told["text"].startswith("Rain to come is as tester typed it on Tue 14 Jul, 23:0")
    assert told["text"].endswith("for other time as the forecast has it that a script sends.")


def test_a_word_of_the_topic_that_comes_later_does_not_take_its_place() -> None:
    bench = living()
    typed(bench, span(0.0, 24.0, 8.0))
    topic(bench, span(0.0, 24.0))
    assert sky_of(bench.engine.run).rain_expected_mm == pytest.approx(8.0, rel=0.01)


def test_it_ends_by_itself_and_when_it_is_taken_back() -> None:
    bench = living()
    typed(bench, span(0.0, 2.0, 8.0))
    bench.live(3 * HOUR_S, tick_s=300.0)
    assert foretold(bench)["from"] is None
    refused = bench.order("forget_outlook")
    assert refused is not None
    assert (refused.status, refused.reason) == ("refused", "none_typed")
    topic(bench, span(0.0, 24.0, 5.0))
    typed(bench, span(3.0, 24.0, 8.0))
    taken = bench.order("forget_outlook")
    assert taken is not None
    assert taken.text.endswith("Rain to come is as the forecast has it that a script sends.")
    assert foretold(bench)["from"] == "topic"


def test_both_stand_in_the_record_with_who() -> None:
    bench = living()
    typed(bench, span(0.0, 12.0, 6.0, chance_frac=0.6, tmin_c=12.0, tmax_c=31.0))
    bench.order("forget_outlook")
    notes = [note for note in bench.of(Note) if "outlook" in note.code]
    assert [note.code for note in notes] == ["outlook", "forget_outlook"]
    assert notes[0].text == (
        "tester: the sky typed: 6 mm at 60 %, 12 to 31 °C from Tue 14 Jul, 23:00 to "
        "Wed 15 Jul, 11:00"
    )
    assert all(note.durable for note in notes)


def test_it_survives_a_restart() -> None:
    bench = living()
    typed(bench, span(0.0, 24.0, 8.0, chance_frac=0.5))
    kept = Engine.load(bench.engine.dump())
    assert kept.state.sky.typed == bench.engine.state.sky.typed
    before = foretold(bench)
    bench.restart(60.0)
    assert foretold(bench) == before


def test_a_heat_and_a_temperature_typed_count_too() -> None:
    bench = living()
    bench.live(1300.0, tick_s=60.0)
    assert bench.engine.state.sky.reckoned.source == EtoSource.LATITUDE
    assert not sky_of(bench.engine.run).hot
    typed(bench, span(0.0, 24.0, tmin_c=16.0, tmax_c=37.0))
    bench.live(1300.0, tick_s=60.0)
    assert sky_of(bench.engine.run).hot
    assert bench.engine.state.sky.reckoned.source == EtoSource.OUTLOOK


# -- what it does to a bed


def due() -> Bench:
    bench = living()
    bench.dry_out(0.42, "south")
    run = bench.engine.run
    water = run.state.water["south"]
    water.depletion_mm, water.over_mm = 0.42 * run.days["south"].taw_mm, 0.0
    water.use_mm_d = [2.0]
    run.state.beds["south"].judged_from_utc_s = None
    return bench


def test_a_due_bed_waits_for_it_and_drinks_once_it_is_taken_back() -> None:
    bench = due()
    typed(bench, span(0.0, 24.0, 60.0))
    bench.live(900.0)
    memory = bench.engine.state.beds["south"]
    assert memory.said.code == Reason.RAIN_COMING
    assert memory.postponed == 1
    assert bench.litres["south"] == 0.0
    bench.order("outlook", spans=(span(0.0, 24.0, 50.0),))
    bench.live(900.0)
    assert memory.postponed == 1, "one night counts once, however often it is typed"
    assert bench.order("forget_outlook") is not None
    bench.live(900.0)
    assert memory.postponed == 0
    assert bench.litres["south"] > 0.0


def test_the_same_bed_drinks_where_nothing_is_typed() -> None:
    bench = due()
    bench.live(900.0)
    assert bench.litres["south"] > 0.0


# -- bad input


@pytest.mark.parametrize(
    ("spans", "says"),
    [
        pytest.param((), "1 to 32 spans", id="none"),
        pytest.param((span(0.0, 1.0),) * 33, "1 to 32 spans", id="too-many"),
        pytest.param((span(0.0, 0.0),), "above 0", id="no-length"),
        pytest.param((span(0.0, 24.0, -1.0),), "0 to 500 mm", id="less-than-none"),
        pytest.param((span(0.0, 24.0, float("nan")),), "0 to 500 mm", id="no-number"),
        pytest.param((span(0.0, 24.0, 1.0, chance_frac=60.0),), "odds of 0 to 1", id="per-cent"),
        pytest.param((span(0.0, 24.0, tmax_c=99.0),), "-45 to 60", id="fahrenheit"),
        pytest.param((span(0.0, 24.0, tmin_c=20.0, tmax_c=10.0),), "lowest below", id="crossed"),
        pytest.param((span(-48.0, 24.0),), "time to come", id="over"),
        pytest.param((span(20 * 24.0, 24.0),), "within 16 days", id="far"),
        pytest.param((span(0.0, 24.0), span(12.0, 24.0)), "overlap", id="twice"),
    ],
)
def test_what_cannot_be_is_refused_and_changes_nothing(
    spans: tuple[OutlookSpan, ...], says: str
) -> None:
    bench = living()
    typed(bench, span(0.0, 12.0, 3.0))
    before = bench.engine.state.sky.typed
    answer = bench.order("outlook", spans=spans)
    assert answer is not None
    assert answer.status == "invalid"
    assert says in answer.text
    assert bench.engine.state.sky.typed == before


@settings(derandomize=True, max_examples=200)
@given(
    told=st.lists(st.tuples(st.integers(-30, 60), st.integers(1, 40)), max_size=4),
    mine=st.lists(st.tuples(st.integers(-30, 60), st.integers(1, 40)), min_size=1, max_size=4),
)
def test_pieces_never_meet_what_was_typed_and_no_rain_is_made(
    told: list[tuple[int, int]], mine: list[tuple[int, int]]
) -> None:
    topics = [span(begins, hours, 2.0 * hours) for begins, hours in told]
    typed_spans = [span(begins, hours) for begins, hours in mine]
    left = beside(topics, typed_spans)
    for piece in left:
        assert piece.rain_mm == pytest.approx(2.0 * piece.hours)
        for one in typed_spans:
            assert ends_utc_s(piece) <= one.from_utc_s or piece.from_utc_s >= ends_utc_s(one)
    hours = range(-40, 110)
    for hour in hours:
        middle_s = START_UTC_S + (hour + 0.5) * HOUR_S
        covers = [o for o in topics if o.from_utc_s < middle_s < ends_utc_s(o)]
        cut = any(o.from_utc_s < middle_s < ends_utc_s(o) for o in typed_spans)
        kept = [o for o in left if o.from_utc_s < middle_s < ends_utc_s(o)]
        assert len(kept) == (0 if cut else len(covers))


# -- over HTTP, to a real engine


@pytest.fixture
def desk() -> EngineDesk:
    return EngineDesk(small_garden())


@pytest.fixture
def client(desk: EngineDesk) -> TestClient:
    return TestClient(
        create_app(desk, token=RIGHT, monotonic=lambda: 0.0),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
        headers={"Origin": "http://localhost:8470"},
    )


def test_over_http_it_is_told_seen_and_taken_back(client: TestClient, desk: EngineDesk) -> None:
    body = [{"from": at(0.0), "hours": 24, "rain_mm": 6, "chance": 0.6, "tmin_c": 9, "tmax_c": 24}]
    got = client.put("/api/outlook", json=body, headers=BEARER)
    assert got.status_code == 200, got.text
    assert got.json()["spans"][0]["from"] == at(0.0).replace("+00:00", "Z")
    told = client.get("/api/garden").json()["sky"]["foretold"]
    assert (told["from"], told["who"], told["spans"][0]["rain_mm"]) == ("typed", "operator", 6.0)
    assert any(
        "as somebody who holds the token typed it" in text for text in sky_words(desk.view())
    )
    assert client.delete("/api/outlook", headers=BEARER).status_code == 200
    assert client.get("/api/garden").json()["sky"]["foretold"]["from"] is None
    gone = client.delete("/api/outlook", headers=BEARER)
    assert (gone.status_code, gone.json()["reason"]) == (409, "none_typed")


SPAN: dict[str, Any] = {"from": at(0.0), "hours": 24}


@pytest.mark.parametrize(
    "body",
    [
        {},
        [],
        SPAN,
        [{}],
        [{"hours": 24}],
        [{**SPAN, "from": "tonight"}],
        [{**SPAN, "from": "2026-07-15T00:00:00"}],
        [{**SPAN, "hours": 0}],
        [{**SPAN, "rain_mm": -1}],
        [{**SPAN, "rain_mm": "6"}],
        [{**SPAN, "chance": 60}],
        [{**SPAN, "tmax_c": 99}],
        [{**SPAN, "tmin_c": 20, "tmax_c": 10}],
        [{**SPAN, "wind_m_s": 3}],
        [SPAN, SPAN],
        [SPAN] * 33,
        [{**SPAN, "from": at(-48.0)}],
    ],
)
def test_a_malformed_sky_is_422_and_says_what_is_allowed(
    client: TestClient, desk: EngineDesk, body: object
) -> None:
    got = client.put("/api/outlook", json=body, headers=BEARER)
    assert got.status_code == 422, got.text
    assert len(got.json()["detail"]) > 20
    assert desk.view()["sky"]["foretold"]["from"] is None


def test_a_helper_types_no_sky(desk: EngineDesk) -> None:
    app = create_app(desk, token=RIGHT, names=["plot.local"], monotonic=lambda: 0.0)
    browser = TestClient(app, base_url="http://plot.local:8470", client=("192.168.1.7", 5))
    assert browser.get(f"/open?code={app.state.issue_code('helper')}").status_code == 200
    own = {"Origin": "http://plot.local:8470"}
    for call in (browser.put("/api/outlook", json=[SPAN], headers=own),):
        assert (call.status_code, call.json()["title"]) == (403, "Not for a helper")
    assert browser.delete("/api/outlook", headers=own).status_code == 403
    assert desk.view()["sky"]["foretold"]["from"] is None


# -- on the page


def test_from_the_page_nights_that_are_filled_in_count(
    client: TestClient, desk: EngineDesk
) -> None:
    page = client.get("/sky").text
    assert "Nobody foretells rain" in page
    legends = re.findall("<legend>(.*?)</legend>", page)
    assert legends[0] == "Tonight, until noon"
    assert all(re.fullmatch("The night to [A-Z][a-z]{2}", one) for one in legends[1:])
    assert "Take it back" not in page
    first = re.search(r'name="first" value="([0-9]+)"', page)
    assert first is not None
    form = {"key": key_on(client, "/sky"), "first": first[1], "mm0": "6", "odds0": "60"}
    got = client.post("/do/sky", data={**form, "mm2": "0", "high2": "36,5", "low2": "-1"})
    assert got.status_code == 200, got.text
    spans = desk.view()["sky"]["foretold"]["spans"]
    assert [(one["rain_mm"], one["chance"]) for one in spans] == [(6.0, 0.6), (0.0, 1.0)]
    assert (spans[1]["tmin_c"], spans[1]["tmax_c"], spans[1]["hours"]) == (-1.0, 36.5, 24.0)
    page = client.get("/sky").text
    assert "as somebody at the board typed it" in page
    assert "6.0 mm at 60 %" in page.replace("\xa0", " ")
    assert client.post("/do/sky/forget", data={"key": key_on(client, "/sky")}).status_code == 200
    assert desk.view()["sky"]["foretold"]["from"] is None


@pytest.mark.parametrize(
    ("typed_in", "says"),
    [
        ({}, "one night at least"),
        ({"odds0": "60"}, "stand without"),
        ({"mm0": "much"}, "from 0 to 500 mm"),
        ({"mm0": "6", "odds0": "160"}, "from 0 to 100 %"),
        ({"high1": "99"}, "from -45 to 60 °C"),
        ({"low1": "20", "high1": "10"}, "above its highest"),
        ({"mm0": "6", "first": "1"}, "of another day"),
    ],
)
def test_a_form_that_says_nothing_sound_is_refused_and_says_why(
    client: TestClient, desk: EngineDesk, typed_in: dict[str, str], says: str
) -> None:
    first = re.search(r'name="first" value="([0-9]+)"', client.get("/sky").text)
    assert first is not None
    form = {"key": key_on(client, "/sky"), "first": first[1], **typed_in}
    got = client.post("/do/sky", data=form)
    assert got.status_code == 422
    assert says in got.text.replace("\xa0", " ")
    assert desk.view()["sky"]["foretold"]["from"] is None


def test_a_garden_in_inches_is_asked_and_answered_in_inches() -> None:
    garden = small_garden()
    info = garden.garden.model_copy(update={"units": "us"})
    desk = EngineDesk(garden.model_copy(update={"garden": info}))
    client = TestClient(
        create_app(desk, token=RIGHT, monotonic=lambda: 0.0),
        base_url="http://localhost:8470",
        client=("127.0.0.1", 5),
        headers={"Origin": "http://localhost:8470"},
    )
    page = client.get("/sky").text
    assert "Rain, in" in page
    assert "Highest, °F" in page
    first = re.search(r'name="first" value="([0-9]+)"', page)
    assert first is not None
    form = {"key": key_on(client, "/sky"), "first": first[1]}
    refused = client.post("/do/sky", data={**form, "high1": "150"})
    form["key"] = key_on(client, "/sky")
    assert "from -49 to 140 °F" in refused.text.replace("\xa0", " ")
    told = {"mm0": "0.25", "odds0": "60", "low0": "41", "high0": "95"}
    assert client.post("/do/sky", data={**form, **told}).status_code == 200
    (span,) = desk.view()["sky"]["foretold"]["spans"]
    assert (span["rain_mm"], span["tmin_c"], span["tmax_c"]) == (6.35, 5.0, 35.0)
    assert "0.25 in at 60 %" in client.get("/sky").text.replace("\xa0", " ")


def test_the_page_of_a_garden_that_says_nothing_of_its_sky_stands() -> None:
    app = create_app(FakeDesk(), token=RIGHT, monotonic=lambda: 0.0)
    client = TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5))
    assert client.get("/sky").status_code == 200
    assert 'href="/sky"' in client.get("/beds/south/hand").text


@pytest.mark.parametrize(
    ("now", "ends"),
    [
        ("2026-07-15T11:00:00-07:00", "2026-07-16T12:00:00-07:00"),
        ("2026-07-15T23:00:00-07:00", "2026-07-16T12:00:00-07:00"),
        ("2026-07-16T02:00:00-07:00", "2026-07-16T12:00:00-07:00"),
        ("2026-07-16T07:00:00-07:00", "2026-07-17T12:00:00-07:00"),
        ("2026-10-31T20:00:00-07:00", "2026-11-01T12:00:00-08:00"),  # the clock is put back
    ],
)
def test_the_first_night_ends_at_the_noon_after_its_morning(now: str, ends: str) -> None:
    tongue = Tongue(
        zone=small_garden().garden.zone,
        us=False,
        now_utc_s=datetime.fromisoformat(now).timestamp(),
    )
    found = nights(tongue)
    assert found[0][1:] == (tongue.now_utc_s, datetime.fromisoformat(ends).timestamp())
    assert len(found) == 4
    assert all(a[2] == b[1] for a, b in pairwise(found)), "none is left out"
