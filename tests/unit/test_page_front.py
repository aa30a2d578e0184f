"""The front page: what it says for each state, escaped, small, and honest about valves."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fastapi.testclient import TestClient

from api.desk import FAKE_NOW_UTC_S, FakeDesk
from api.http import create_app
from api.page import front, plant, states
from api.page.advice import ADVICE
from api.page.holds import next_words
from api.page.states import valve_words
from api.page.words import Tongue, duration, left, named
from tests.browser.page_states import ALL, Shown

RIGHT = "the-operators-token"
MOST_FIRST_VIEW_BYTES = 30_000
ALERT: dict[str, Any] = {
    "id": "a1",
    "code": "valve_stuck_open",
    "bed": "south",
    "valve": "south",
    "probe": None,
    "since": "2026-07-15T17:12:00Z",
    "text": "Water flowed after the close.",
    "person_needed": True,
}


def page_of(desk: FakeDesk, path: str = "/") -> str:
    app = create_app(desk, token=RIGHT)
    client = TestClient(app, base_url="http://localhost", client=("127.0.0.1", 5))
    got = client.get(path)
    assert got.status_code == 200
    return got.text


@pytest.fixture
def desk() -> FakeDesk:
    return FakeDesk()


@pytest.fixture
def tongue() -> Tongue:
    zone = ZoneInfo("America/Los_Angeles")
    return Tongue(zone=zone, us=False, now_utc_s=FAKE_NOW_UTC_S)


def headline(desk: FakeDesk, tongue: Tongue) -> str:
    return "".join(text for text, _ in front.headline(desk.view(), tongue))


def test_the_first_view_stays_small(desk: FakeDesk) -> None:
    assert len(page_of(desk).encode()) <= MOST_FIRST_VIEW_BYTES


def test_a_bed_named_like_a_tag_is_shown_as_text_everywhere() -> None:
    desk = FakeDesk(("<script>",))
    desk.set_bed(
        "<script>",
        reason={"code": "drying", "text": "<script>alert(1)</script>", "numbers": {"<b>": 1.0}},
    )
    desk.set(alerts=[{**ALERT, "bed": "<script>", "text": '"><script>x', "id": "<script>"}])
    bed = "%3Cscript%3E"
    pages = (
        "/",
        f"/beds/{bed}/water",
        f"/beds/{bed}/water?how=refill",
        f"/beds/{bed}/pause",
        f"/beds/{bed}/pause?days=1",
        f"/alerts/{bed}/clear",
    )
    for path in pages:
        html = page_of(desk, path).lower()
        own = sum(html.count(f'<script src="/static/{name}-') for name in ("page", "stop"))
        assert html.count("<script") == own
        assert "<b>" not in html.replace("<b>10", "")
        assert "&lt;script&gt;" in html


def test_the_front_page_has_no_inline_style_or_script(desk: FakeDesk) -> None:
    html = page_of(desk)
    assert " style=" not in html
    assert "<style" not in html
    assert "javascript:" not in html
    assert " on" + "click=" not in html


def test_other_tools_words_are_nowhere(desk: FakeDesk) -> None:
    desk.set(alerts=[ALERT])
    html = "".join(page_of(desk, path) for path in ("/", "/lock", "/pause", "/beds/south/water"))
    plain = html.lower().replace("data-zone", "")
    for word in ("station", " zone", "program", "cycle", "rain delay", "seasonal", "hold off"):
        assert word not in plain
    assert "thirst line" in plain


# -- the headline, by what matters most


def test_the_headline_names_who_drinks_next(desk: FakeDesk, tongue: Tongue) -> None:
    assert headline(desk, tongue) == "South drinks next, tonight."


def test_the_headline_says_who_drinks_now(desk: FakeDesk, tongue: Tongue) -> None:
    desk.set_bed("tunnel", valve="open", watering=_running())
    assert headline(desk, tongue) == "Tunnel drinks now: 12 of 122 L."


def test_what_is_wrong_comes_before_who_drinks(desk: FakeDesk, tongue: Tongue) -> None:
    desk.set_bed("tunnel", valve="open", watering=_running())
    desk.set(alerts=[ALERT])
    assert headline(desk, tongue) == "South needs you."
    assert front.todo(desk.view(), tongue) == "One thing needs you, see below. Last reading 11:01."


@pytest.mark.parametrize(
    ("parts", "begins"),
    [
        ({"link_up": False}, "No contact"),
        ({"ready": False}, "Just started."),
        ({"beds": {}}, "No bed"),
    ],
    ids=["no-contact", "quiet-start", "no-window"],
)
def test_the_headline_of_other_states(
    desk: FakeDesk, tongue: Tongue, parts: dict[str, Any], begins: str
) -> None:
    desk.set(**parts)
    assert headline(desk, tongue).startswith(begins)


def test_a_lock_and_a_pause_are_said_with_their_why(desk: FakeDesk) -> None:
    holds = desk.view()["holds"]
    desk.set(holds={**holds, "locked": True, "lock_why": "new pipe"})
    html = page_of(desk)
    assert "Nothing opens until a person unlocks" in html
    assert "Locked: new pipe" in html
    until = "2026-07-18T01:00:00Z"
    desk.set(holds={**holds, "paused_until": until, "pause_why": "away"})
    html = page_of(desk)
    assert "Every bed is paused until Fri 18:00 (away)." in html
    assert "End the pause of every bed" in html


def test_beds_stand_in_the_order_in_which_they_drink(desk: FakeDesk) -> None:
    assert front.ordered(desk.view()) == ["south", "wall-side", "tunnel", "old-compost"]
    desk.set_bed("old-compost", valve="open")
    desk.set_bed("south", next_watering=None)
    assert front.ordered(desk.view()) == ["old-compost", "wall-side", "tunnel", "south"]


# -- valves


def _running() -> dict[str, Any]:
    return {"want_l": 122.0, "given_l": 12.0, "pulse": 1, "pulses": 4, "by": "policy"}


@pytest.mark.parametrize(
    ("valve", "watering", "said"),
    [
        ("closed", None, "closed"),
        ("told_to_close", None, "told to close, not verified"),
        ("opening", None, "opening"),
        ("open", _running(), "open, 12 of 122 L, pulse 1 of 4"),
        ("unknown", None, "not known, treated as open until proved closed"),
        ("latched", None, "latched shut until a person lifts it"),
        ("something-new", None, "not known, treated as open until proved closed"),
    ],
)
def test_a_valve_in_words(
    desk: FakeDesk, tongue: Tongue, valve: str, watering: Any, said: str
) -> None:
    desk.set_bed("south", valve=valve, watering=watering)
    view = desk.view()
    assert states.valve_words(view, view["beds"]["south"], tongue) == said
    assert said in page_of(desk)


def test_without_contact_no_valve_is_called_closed(desk: FakeDesk) -> None:
    desk.set(link_up=False)
    html = page_of(desk)
    assert html.count("<dd>last seen closed</dd>") == 4
    assert "<dd>closed</dd>" not in html
    assert 'class="garden stale"' in html


def test_stop_is_offered_while_a_valve_is_open_and_only_then(desk: FakeDesk) -> None:
    assert "/do/beds/south/stop" not in page_of(desk)
    desk.set_bed("south", valve="open", watering=_running())
    html = page_of(desk)
    assert 'action="/do/beds/south/stop"' in html
    assert 'data-open="1"' in html


def test_close_every_valve_is_always_there(desk: FakeDesk) -> None:
    assert "Close every valve" in page_of(desk)


# -- beds in words


def test_days_left_stand_instead_of_a_bare_share(desk: FakeDesk, tongue: Tongue) -> None:
    assert states.left_words(desk.view()["beds"]["tunnel"], tongue) == "line in 3 days"
    assert states.left_words(desk.view()["beds"]["south"], tongue) == ""


def test_days_left_and_next_watering_go_by_the_usual_use_not_by_the_windows_middle(
    desk: FakeDesk, tongue: Tongue
) -> None:
    state = desk.view()["beds"]["tunnel"]
    window = {**state["next_watering"], "to": "2026-08-01T12:30:00Z"}  # rain drags it out
    desk.set_bed("tunnel", next_watering=window)
    view = desk.view()
    assert states.left_words(view["beds"]["tunnel"], tongue) == "line in 3 days"
    assert next_words(view, "tunnel", tongue) == (
        "in the night to Sat by its usual use, or later if it rains as usual "
        "(8 in 10 sure: between Fri and 1 Aug)"
    )
    desk.set_bed("tunnel", usual_night=None)
    view = desk.view()
    assert states.left_words(view["beds"]["tunnel"], tongue) == ""
    assert next_words(view, "tunnel", tongue) == "between Fri and 1 Aug"


@pytest.mark.parametrize(
    ("state", "depletion", "shape"),
    [
        ("drying", 0.1, plant.Posture.UPRIGHT),
        ("drying", 0.32, plant.Posture.SOFT),
        ("drying", 0.40, plant.Posture.SOFT),
        ("drying", 0.44, plant.Posture.HANGING),
        ("blind", None, plant.Posture.UNKNOWN),
        ("cleared", 0.1, plant.Posture.CLEARED),
    ],
)
def test_the_posture_is_the_state(state: str, depletion: float | None, shape: Any) -> None:
    assert plant.posture(state, depletion, 0.40) is shape


def test_no_two_postures_have_the_same_shape() -> None:
    bare = {str(plant.draw(shape)).replace(shape.value, "") for shape in plant.Posture}
    # an outline has the leaves of some posture, told apart by its dashes
    assert len(bare) == len(plant.Posture)


def test_the_numbers_behind_a_reason_have_words_and_units(desk: FakeDesk) -> None:
    desk.set_bed(
        "south",
        reason={
            "code": "drying",
            "text": "It dries.",
            "numbers": {"thirst_line_frac": 0.4, "dose_l": 122.4, "rain_expected_mm": 6.0},
        },
    )
    html = page_of(desk).replace("\u00a0", " ")
    assert '<th scope="row">thirst line</th><td>40 %</td>' in html
    assert '<th scope="row">water it gets</th><td>122 L</td>' in html
    assert '<th scope="row">rain expected</th><td>6.0 mm</td>' in html


def test_us_units_are_for_people_only(desk: FakeDesk) -> None:
    desk.set(garden={**desk.view()["garden"], "units": "us"})
    desk.set_bed("south", valve="open", watering={**_running(), "want_l": 378.5, "given_l": 37.85})
    assert "open, 10 of 100 gal" in page_of(desk)


def test_the_demo_says_how_fast_time_runs(desk: FakeDesk) -> None:
    assert "demo:" not in page_of(desk)
    desk.set(speed=240.0)
    assert "demo: time runs 240 times faster" in page_of(desk)


def test_an_alert_comes_with_what_to_do(desk: FakeDesk) -> None:
    desk.set(alerts=[{**ALERT, "id": "soft", "person_needed": False, "code": "frost"}, ALERT])
    html = page_of(desk)
    assert ADVICE["valve_stuck_open"] in html
    assert ADVICE["frost"] in html
    assert html.index(ADVICE["valve_stuck_open"]) < html.index(ADVICE["frost"])
    assert "/alerts/a1/clear" in html
    assert "/alerts/soft/clear" not in html


# -- words


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (40.0, "40 s"),
        (1080.0, "18 min"),
        (4200.0, "1 h 10 min"),
        (7200.0, "2 h"),
        (259_200.0, "3 days"),
    ],
)
def test_a_duration_in_words(seconds: float, said: str) -> None:
    assert duration(seconds) == said


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0.0, "line within 1 h"),
        (9 * 3600.0, "line in 9 h"),
        (86_400.0, "line in 1 day"),
        (2.2 * 86_400.0, "line in 2 days"),
    ],
)
def test_what_is_left_in_words(seconds: float, said: str) -> None:
    assert left(seconds) == said


def test_times_are_local_and_of_24_hours(tongue: Tongue) -> None:
    assert tongue.clock(FAKE_NOW_UTC_S) == "11:05"
    assert tongue.when(FAKE_NOW_UTC_S + 10 * 3600.0) == "21:05"
    assert tongue.when(FAKE_NOW_UTC_S + 14 * 3600.0) == "tomorrow 01:05"
    assert tongue.when(FAKE_NOW_UTC_S + 9 * 86_400.0) == "24 Jul 11:05"


def test_a_window_over_the_hour_that_is_missing_is_in_local_time() -> None:
    # 8 March 2026, America/Los_Angeles: 02:00 becomes 03:00 at 10:00 UTC
    tongue = Tongue(zone=ZoneInfo("America/Los_Angeles"), us=False, now_utc_s=1_772_942_400.0)
    assert tongue.window(1_772_960_400.0, 1_772_967_600.0) == "tonight from 01:00"


def test_an_unknown_number_is_named_by_its_key() -> None:
    assert named("leak_l") == "leak"
    assert named("something_new") == "something new"


@pytest.mark.parametrize("span", ["30", "season", "nonsense"])
def test_other_spans_are_drawn(desk: FakeDesk, span: str) -> None:
    assert page_of(desk, f"/?span={span}").count('class="strip"') == 4


# -- nights


def _at(local: str) -> float:
    return datetime.fromisoformat(local).replace(tzinfo=ZoneInfo("America/Los_Angeles")).timestamp()


@pytest.mark.parametrize(
    ("now", "first", "last", "said"),
    [
        ("24T14:00", "24T22:00", "25T07:20", "tonight from 22:00"),
        ("24T22:30", "24T22:30", "25T07:20", "tonight until 07:20"),
        ("24T14:00", "24T22:00", "26T07:20", "tonight or tomorrow night"),
        ("24T14:00", "25T22:00", "26T07:20", "tomorrow night from 22:00"),
        ("24T14:00", "25T22:00", "28T07:20", "in the night to Thu, Fri or Sat"),
        ("24T14:00", "24T22:00", "30T07:20", "between tonight and Mon"),
        ("10T14:00", "18T22:00", "30T07:20", "between 18 Nov and 30 Nov"),
        ("24T02:00", "24T02:00", "24T07:20", "tonight until 07:20"),
        ("24T02:00", "24T22:00", "25T07:20", "in the night to Wed from 22:00"),
        ("24T07:00", "24T07:00", "24T07:20", "this morning until 07:20"),
        ("24T14:00", "26T06:00", "26T09:00", "Thu 06:00–09:00"),
        ("24T14:00", "27T12:00", "27T16:00", "Fri 12:00–16:00"),
    ],
)
def test_a_window_is_said_in_nights(now: str, first: str, last: str, said: str) -> None:
    zone = ZoneInfo("America/Los_Angeles")
    tongue = Tongue(zone=zone, us=False, now_utc_s=_at(f"2026-11-{now}"))
    assert tongue.window(_at(f"2026-11-{first}"), _at(f"2026-11-{last}")) == said


# -- what keeps a bed from drinking by itself


def test_a_bed_that_drinks_or_is_paused_does_not_drink_next(desk: FakeDesk, tongue: Tongue) -> None:
    desk.set_bed("south", state="watering")  # its valve is closed by now
    assert headline(desk, tongue) == "Wall side drinks next, tonight."
    pause = {"until": "2026-07-18T01:00:00Z", "why": ""}
    holds = {**desk.view()["holds"], "beds_paused": {"wall-side": pause}}
    desk.set(holds=holds)
    assert headline(desk, tongue).startswith("Tunnel drinks next, ")
    every = dict.fromkeys(desk.view()["beds"], pause)
    desk.set(holds={**holds, "beds_paused": every})
    assert headline(desk, tongue) == "No bed drinks by itself now: see each bed."


def test_all_that_drink_are_named(desk: FakeDesk, tongue: Tongue) -> None:
    desk.set_bed("tunnel", valve="open", watering=_running())
    desk.set_bed("south", valve="open", watering=_running())
    assert headline(desk, tongue) == "South and Tunnel drink now."
    desk.set_bed("wall-side", valve="open", watering=_running())
    assert headline(desk, tongue) == "South, Wall side and Tunnel drink now."


def test_whether_all_is_well_stands_first(desk: FakeDesk) -> None:
    assert front.verdict(desk.view()) == "All is well."
    assert page_of(desk).index("All is well.") < page_of(desk).index("<h1>")
    desk.set(alerts=[{**ALERT, "person_needed": False}])
    assert front.verdict(desk.view()) == "Well, but for what stands below."
    desk.set(alerts=[ALERT])
    assert front.verdict(desk.view()) == "Look here:"
    desk.set(alerts=[], ready=False)
    assert front.verdict(desk.view()) == ""
    desk.set(ready=True, link_up=False)
    assert front.verdict(desk.view()) == "Look here:"


def test_what_is_to_do_under_a_lock_or_a_pause(desk: FakeDesk, tongue: Tongue) -> None:
    holds = desk.view()["holds"]
    desk.set(holds={**holds, "locked": True, "lock_why": "new pipe"})
    assert front.todo(desk.view(), tongue).startswith("Unlock when the work is done. ")
    desk.set(holds={**holds, "paused_until": "2026-07-18T01:00:00Z"})
    assert front.todo(desk.view(), tongue).startswith("Paused by you. Water by hand if it gets hot")


def test_no_water_is_promised_through_a_pause_or_a_lock(desk: FakeDesk, tongue: Tongue) -> None:
    assert next_words(desk.view(), "south", tongue) == "tonight from 02:10"
    holds = desk.view()["holds"]
    pause = {"until": "2026-07-18T01:00:00Z", "why": ""}
    desk.set(holds={**holds, "beds_paused": {"south": pause}})
    assert next_words(desk.view(), "south", tongue) == "not before Fri 18:00"
    assert page_of(desk).count('class="window"') == 2  # of the four beds one lies too far ahead
    desk.set(holds={**holds, "locked": True, "lock_why": "new pipe"})
    assert next_words(desk.view(), "south", tongue) == "none while locked"
    assert 'class="window"' not in page_of(desk)


def test_a_pause_is_said_once(desk: FakeDesk) -> None:
    pause = {"until": "2026-07-18T01:00:00Z", "why": "fruit picking"}
    desk.set(
        holds={**desk.view()["holds"], "beds_paused": {"south": pause}},
        alerts=[{**ALERT, "code": "paused", "text": "South: Paused.", "person_needed": False}],
    )
    html = page_of(desk)
    assert html.count("fruit picking") == 1
    assert "South is paused until Fri 18:00 (fruit picking)." in html
    assert 'class="notices"' not in html


def test_an_alert_does_not_say_its_bed_twice(desk: FakeDesk) -> None:
    desk.set(alerts=[{**ALERT, "text": "South: Water flowed after the close."}])
    assert "<h2>South: Water flowed after the close.</h2>" in page_of(desk)


LOST: dict[str, dict[str, object]] = {
    "broker": {"link_up": False},
    "just started": {"ready": False},
    "master": {"master": "closed", "master_heard": False},
    "node": {},
    "nodes": {},
}


@pytest.mark.parametrize("lost", LOST)
@pytest.mark.parametrize("shown", ALL, ids=[shown.name for shown in ALL])
def test_all_is_never_well_without_contact(shown: Shown, lost: str) -> None:
    """Whatever the state of the bed, its valve and the garden."""
    desk = shown.desk()
    desk.set(**LOST[lost])
    beds = {"node": ["south"], "nodes": list(desk.view()["beds"])}.get(lost, [])
    for bed in beds:
        desk.set_bed(bed, valve_heard=False)
    view = desk.view()
    assert front.verdict(view) in {"", "Look here:"}
    assert not any(
        valve_words(view, view["beds"][bed], front.tongue_of(view)).startswith("closed")
        for bed in (list(view["beds"]) if lost == "broker" else beds)
    )


@pytest.mark.parametrize("shown", ALL, ids=[shown.name for shown in ALL])
def test_all_is_well_only_where_the_table_lets_it_be(shown: Shown) -> None:
    well = front.verdict(shown.desk().view()) == "All is well."
    assert not (well and "All is well." in shown.never)


def test_many_silent_valves_are_counted(desk: FakeDesk, tongue: Tongue) -> None:
    for bed in list(desk.view()["beds"])[:2]:
        desk.set_bed(bed, valve_heard=False)
    assert headline(desk, tongue) == "No word from the valves of Wall side and South."
    for bed in desk.view()["beds"]:
        desk.set_bed(bed, valve_heard=False)
    assert headline(desk, tongue) == "No word from 4 valves."
    desk.set(master="closed", master_heard=False)
    assert headline(desk, tongue) == "No word from 5 valves."
    for bed in list(desk.view()["beds"])[1:]:
        desk.set_bed(bed, valve_heard=True)
    said = "No word from the valve of Wall side and the master valve."
    assert headline(desk, tongue) == said
