"""The soil strip: gaps stay gaps, peaks stay peaks, and what lies where."""

import math
import re
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from api.desk import FAKE_NOW_UTC_S, FakeDesk
from api.page import front, strip, strip_water
from api.page.straight import straighten
from api.page.strip_scale import BOTTOM, TOP, Ahead, Scale
from api.page.words import DAY_S, Tongue

TONGUE = Tongue(zone=ZoneInfo("America/Los_Angeles"), us=False, now_utc_s=FAKE_NOW_UTC_S)
AHEAD = Ahead(line_frac=0.4)


def row(ago_h: float, frac: float | None, **more: Any) -> dict[str, Any]:
    return {
        "at_utc_s": FAKE_NOW_UTC_S - ago_h * 3600.0,
        "depletion_frac": frac,
        "line_frac": 0.4,
        "rain_mm": 0.0,
        "given_l": 0.0,
        **more,
    }


def hourly(frac: float = 0.2, hours: int = 240) -> list[dict[str, Any]]:
    return [row(float(ago), frac) for ago in range(hours, -1, -1)]


def drawn(rows: list[dict[str, Any]], ahead: Ahead = AHEAD, days: float = 10.0) -> str:
    return str(strip.draw(rows, ahead, TONGUE, days, "South"))


def scale() -> Scale:
    return Scale(
        first_utc_s=FAKE_NOW_UTC_S - 10 * DAY_S,
        now_utc_s=FAKE_NOW_UTC_S,
        last_utc_s=FAKE_NOW_UTC_S + 4 * DAY_S,
        deepest_frac=0.6,
    )


def test_an_unbroken_series_is_one_curve_on_one_body() -> None:
    svg = drawn(hourly())
    assert svg.count('class="curve"') == 1
    assert svg.count('class="soil"') == 1


@pytest.mark.parametrize(
    "silent",
    [lambda rows: rows[:100] + rows[130:], lambda rows: _blanked(rows, 100, 130)],
    ids=["rows-missing", "values-missing"],
)
def test_silence_is_a_gap_and_never_a_bridge(silent: Any) -> None:
    svg = drawn(silent(hourly()))
    assert svg.count('class="curve"') == 2
    assert svg.count('class="soil"') == 2


def _blanked(rows: list[dict[str, Any]], first: int, last: int) -> list[dict[str, Any]]:
    blank = {"depletion_frac": None}
    return [{**one, **(blank if first <= index < last else {})} for index, one in enumerate(rows)]


def test_a_value_that_is_no_number_is_a_gap() -> None:
    rows = hourly()
    rows[50]["depletion_frac"] = math.nan
    assert drawn(rows).count('class="curve"') == 2


def test_a_long_silence_is_named() -> None:
    assert 'class="quiet"' in drawn(_blanked(hourly(), 100, 160))
    assert 'class="quiet"' not in drawn(_blanked(hourly(), 100, 110))


def test_hourly_values_are_not_taken_for_silence() -> None:
    assert len(list(strip.runs(hourly()))) == 1


def test_thinning_keeps_first_lowest_highest_and_last_of_a_column() -> None:
    piece = [
        (FAKE_NOW_UTC_S + second, frac) for second, frac in enumerate([0.3, 0.1, 0.2, 0.5, 0.4])
    ]
    assert strip.thin(scale(), piece) == [piece[0], piece[1], piece[3], piece[4]]


def test_thinning_bounds_what_is_drawn() -> None:
    noisy = [
        (FAKE_NOW_UTC_S - 10 * DAY_S + 60.0 * minute, 0.3 + 0.1 * math.sin(minute * 1.7))
        for minute in range(14_400)
    ]
    assert len(strip.thin(scale(), noisy)) <= 4 * 380


def test_straightening_leaves_out_only_what_lies_on_the_way() -> None:
    line = [(float(x), 10.0) for x in range(50)]
    assert straighten(line) == [line[0], line[-1]]
    peak = [*line[:20], (20.0, 4.0), *line[21:]]
    assert (20.0, 4.0) in straighten(peak)


def test_depletion_runs_downwards_and_stays_inside() -> None:
    assert scale().y(0.0) == TOP
    assert scale().y(0.6) == BOTTOM
    assert scale().y(5.0) == BOTTOM
    assert scale().y(-1.0) == TOP


def test_the_line_is_dashed_hatched_below_and_named() -> None:
    svg = drawn(hourly())
    assert svg.count('class="thirst"') == 1
    assert svg.count('class="dry"') == 1
    assert ">thirst line</text>" in svg
    assert "first stress" not in svg


def test_a_line_that_moved_has_a_step() -> None:
    rows = hourly()
    for one in rows[:120]:
        one["line_frac"] = 0.5
    found = re.search(r'class="thirst" d="([^"]+)"', drawn(rows))
    assert found is not None
    assert found[1].count("V") == 1


def test_a_watering_is_one_drop_with_its_litres() -> None:
    rows = hourly()
    rows[100]["given_l"] = 120.0
    rows[102]["given_l"] = 230.4
    rows[200]["given_l"] = 96.0
    svg = drawn(rows)
    assert svg.count('class="drop"') == 2
    assert ">350 L</text>" in svg
    assert ">96 L</text>" in svg


@pytest.mark.parametrize("edge_h", [240.6, 239.6, 238.6, 237.6])
def test_a_watering_keeps_its_litres_until_its_drop_has_left(edge_h: float) -> None:
    """Its pulses leave the days that are shown one by one."""
    given = {edge_h + 1.0 - n: 96.0 for n in range(4)}
    rows = [row(ago, 0.2, given_l=litres) for ago, litres in given.items()] + hourly(hours=200)
    svg = drawn(rows)
    assert re.findall(r'class="drop-name"[^>]*>([^<]+)<', svg) == ["384 L"]


def test_what_is_read_before_the_days_that_are_shown_is_not_drawn() -> None:
    rows = hourly()
    before = [row(240.0 + ago, 0.9, rain_mm=5.0) for ago in range(24, 0, -1)]
    assert drawn(before + rows) == drawn(rows)


def test_the_page_reads_what_a_watering_at_the_edge_needs() -> None:
    asked: list[float] = []

    class Desk(FakeDesk):
        def history(self, bed: str, from_utc_s: float, to_utc_s: float) -> list[dict[str, Any]]:
            asked.append(from_utc_s)
            return super().history(bed, from_utc_s, to_utc_s)

    front.context(Desk(), "10")
    assert set(asked) == {FAKE_NOW_UTC_S - 10.0 * DAY_S - strip.BEFORE_S}
    assert strip.BEFORE_S >= DAY_S


@pytest.mark.parametrize(
    ("first_l", "second_l", "named"),
    [(383.0, 20.0, "383 L"), (20.0, 383.0, "383 L"), (50.0, 50.0, "50 L")],
)
@pytest.mark.parametrize("ago_h", [30.0, 120.0, 238.0], ids=["now", "middle", "edge"])
def test_of_drops_that_stand_too_close_the_largest_has_its_litres(
    first_l: float, second_l: float, named: str, ago_h: float
) -> None:
    pair = [row(ago_h, 0.2, given_l=first_l), row(ago_h - 14.0, 0.2, given_l=second_l)]
    svg = drawn([*pair, row(0.0, 0.2)])
    assert svg.count('class="drop"') == 2
    (name,) = re.findall(r'class="drop-name" (x="[^>]*)>([^<]+)<', svg)
    assert name[1] == named
    x = float(re.findall(r'x="([\d.]+)"', name[0])[0])
    from_x = x - strip_water.LABEL_PX if "anchor" in name[0] else x
    now_x = scale().x(FAKE_NOW_UTC_S)
    assert from_x >= 0.0
    assert not from_x < now_x < from_x + strip_water.LABEL_PX, "the rule of now strikes it through"
    if first_l > second_l:
        assert f'y="{BOTTOM - 24:g}"' in name[0], "above the drops"


def test_no_litres_are_written_over_the_name_of_the_thirst_line() -> None:
    """In a month that name stands at the left edge, where a drop may be the largest."""
    rows = [row(ago, 0.2, given_l=litres) for ago, litres in ((700.0, 90.0), (600.0, 50.0))]
    far = row(300.0, 0.2, given_l=90.0), row(200.0, 0.2, given_l=50.0)
    svg = drawn([*rows, *far, row(0.0, 0.2)], days=30.0)
    assert 'class="thirst-name first"' in svg
    assert re.findall(r'class="drop-name"[^>]*>([^<]+)<', svg) == ["50 L", "90 L"]


def test_rain_hangs_from_the_top_summed_by_local_day() -> None:
    rows = hourly()
    rows[100]["rain_mm"] = 4.0
    rows[101]["rain_mm"] = 6.0
    svg = drawn(rows)
    assert svg.count('class="rain"') == 1
    assert ">10 mm rain</text>" in svg
    head = re.search(r'class="rain" d="M[\d.]+ ([\d.]+)v', svg)
    box = re.search(r'viewBox="0 ([\d.]+) 380 ', svg)
    assert head is not None
    assert box is not None
    assert head[1] == box[1], "from the very top"


def _sky(svg: str) -> float:
    box = re.search(r'viewBox="0 ([\d.]+) 380 ([\d.]+)"', svg)
    assert box is not None
    assert float(box[1]) + float(box[2]) == strip.HIGH
    return TOP - float(box[1])


def test_the_sky_is_only_as_high_as_its_rain() -> None:
    assert _sky(drawn(hourly())) == strip_water.SKY_BARE
    skies = [_sky(drawn([*hourly(), row(30.0, 0.2, rain_mm=mm)])) for mm in (0.5, 5.0, 25.0, 80.0)]
    assert skies == sorted(skies)
    assert skies[0] < skies[1] == strip_water.SKY_NAMED
    assert skies[-1] <= TOP


def test_this_mornings_rain_does_not_hang_in_the_future() -> None:
    svg = drawn([*hourly(), row(0.2, 0.2, rain_mm=5.0)])
    at = re.search(r'class="rain" d="M([\d.]+) ', svg)
    assert at is not None
    assert float(at[1]) <= scale().x(FAKE_NOW_UTC_S)


def test_a_drop_at_the_edge_is_whole_and_one_before_it_is_not_drawn() -> None:
    svg = drawn([row(240.5, 0.2, given_l=85.0), *hourly()])
    assert 'class="drop"' not in svg
    svg = drawn([row(239.9, 0.2, given_l=85.0), *hourly(hours=200)])
    at = re.search(r'class="drop" d="M([\d.]+) ', svg)
    assert at is not None
    assert float(at[1]) == strip_water.DROP_PX
    assert re.search(r'class="drop-name" x="1\d\.0"[^>]*>85 L<', svg)


def test_many_days_have_dates_and_a_season_has_months() -> None:
    month = drawn(hourly(hours=30 * 24), days=30.0)
    assert re.findall(r"<text[^>]*>(\d+ \w{3})</text>", month) == ["22 Jun", "29 Jun", "6 Jul"]
    season = drawn(hourly(hours=140 * 24), days=150.0)
    assert re.findall(r"<text[^>]*>(\w{3})</text>", season) == ["Apr", "May", "Jun", "Jul"]


def test_a_young_season_shows_no_months_before_it() -> None:
    assert "the last 41 days" in drawn(hourly(hours=40 * 24 + 3), days=150.0)
    assert "the last 30 days" in drawn(hourly(hours=48), days=150.0)
    assert "the last 150 days" in drawn([], days=150.0)


def test_the_picture_has_its_sentences_for_those_who_listen() -> None:
    rows = hourly()
    rows[100] |= {"given_l": 120.0, "rain_mm": 4.0}
    ahead = Ahead(
        line_frac=0.4,
        now_frac=0.21,
        from_utc_s=FAKE_NOW_UTC_S + DAY_S,
        to_utc_s=FAKE_NOW_UTC_S + 2 * DAY_S,
        words="line in 2 days",
    )
    label = re.search(r'aria-label="([^"]+)"', drawn(rows, ahead))
    assert label is not None
    assert label[1] == (
        "Soil moisture of South, the last 10 days. 21 % of its water is used, its thirst line lies "
        "at 40 %. 1 watering, the last Thu, 120 L. 4 mm of rain on 1 day. Next watering "
        f"{TONGUE.window(FAKE_NOW_UTC_S + DAY_S, FAKE_NOW_UTC_S + 2 * DAY_S)}. Line in 2 days."
    )


def test_the_future_fans_down_to_the_line_under_a_bracket() -> None:
    ahead = Ahead(
        line_frac=0.4,
        from_utc_s=FAKE_NOW_UTC_S + 2 * DAY_S,
        to_utc_s=FAKE_NOW_UTC_S + 3 * DAY_S,
        words="line in 2 days",
    )
    svg = drawn(hourly(), ahead)
    fan = re.search(r'class="fan" d="([^"]+)"', svg)
    assert fan is not None
    assert fan[1].count("M") == 2
    assert svg.count('class="window"') == 1
    assert ">line in 2 days</text>" in svg


def test_a_window_beyond_the_drawing_has_a_fan_but_no_bracket() -> None:
    ahead = Ahead(
        line_frac=0.4,
        from_utc_s=FAKE_NOW_UTC_S + 20 * DAY_S,
        to_utc_s=FAKE_NOW_UTC_S + 25 * DAY_S,
    )
    svg = drawn(hourly(), ahead)
    assert 'class="fan"' in svg
    assert 'class="window"' not in svg


def test_a_bed_past_its_line_has_no_fan() -> None:
    ahead = Ahead(line_frac=0.4, from_utc_s=FAKE_NOW_UTC_S, to_utc_s=FAKE_NOW_UTC_S + DAY_S)
    assert 'class="fan"' not in drawn(hourly(0.45), ahead)


def test_no_future_is_drawn_from_a_probe_that_fell_silent() -> None:
    ahead = Ahead(
        line_frac=0.4,
        from_utc_s=FAKE_NOW_UTC_S + DAY_S,
        to_utc_s=FAKE_NOW_UTC_S + 2 * DAY_S,
        words="1 day left",
    )
    svg = drawn(_blanked(hourly(), 220, 241), ahead)
    assert 'class="fan"' not in svg
    assert 'class="now-dot"' not in svg


@pytest.mark.parametrize("rows", [[], [row(1.0, None)], [row(0.0, 0.2)]])
def test_hardly_any_data_is_drawn_all_the_same(rows: list[dict[str, Any]]) -> None:
    assert drawn(rows, Ahead(line_frac=None)).startswith("<svg")


def test_days_are_local_even_where_one_has_23_hours() -> None:
    tongue = Tongue(
        zone=ZoneInfo("America/Los_Angeles"), us=False, now_utc_s=1_773_345_600.0
    )  # 12 March 2026, four days after the clocks went forward
    svg = str(strip.draw([], Ahead(line_frac=0.4), tongue, 10.0, "South"))
    days = re.findall(r">(Mo|Tu|We|Th|Fr|Sa|Su)</text>", svg)
    week = ["Mo", "Tu", "We", "Th", "Fr", "Sa", "Su"]
    first = week.index(days[0])
    assert days == [week[(first + index) % 7] for index in range(len(days))]


def test_a_name_is_escaped_for_those_who_listen() -> None:
    svg = str(strip.draw(hourly(), AHEAD, TONGUE, 10.0, '"><script>'))
    assert "<script>" not in svg


def test_a_season_stays_small() -> None:
    desk = FakeDesk()
    rows = desk.history("south", FAKE_NOW_UTC_S - 150 * DAY_S, FAKE_NOW_UTC_S)
    assert len(drawn(rows, days=150.0)) < 20_000


# -- up to now


def test_a_young_record_is_led_on_to_what_is_known_now() -> None:
    rows = [row(float(ago), 0.2) for ago in range(240, 1, -1)]  # the last one is 2 h old
    pieces = strip.up_to_now(
        list(strip.runs(rows)), Ahead(line_frac=0.4, now_frac=0.25), FAKE_NOW_UTC_S
    )
    assert pieces[-1][-1] == (FAKE_NOW_UTC_S, 0.25)
    assert len(pieces) == 1


def test_an_old_record_is_not_led_on_to_now() -> None:
    rows = [row(float(ago), 0.2) for ago in range(240, 3, -1)]  # the last one is 4 h old
    ahead = Ahead(line_frac=0.4, now_frac=0.25)
    pieces = list(strip.runs(rows))
    assert strip.up_to_now(pieces, ahead, FAKE_NOW_UTC_S) == pieces


def test_a_fresh_garden_says_that_there_is_no_record() -> None:
    assert ">no record yet</text>" in drawn([])
    assert "no record yet" not in drawn(hourly())


@pytest.mark.parametrize(
    ("rows", "litres"),
    [
        ([row(9.0, 0.2, given_l=50.0)], ["50 L", "84 L"]),
        ([row(2.0, 0.2, given_l=40.0)], ["84 L"]),
        ([row(2.0, 0.2, given_l=90.0)], ["90 L"]),
    ],
    ids=["another-watering-before", "its-first-pulse-in-the-record", "record-is-ahead"],
)
def test_the_watering_under_way_is_one_drop_with_all_its_pulses(
    rows: list[dict[str, Any]], litres: list[str]
) -> None:
    drops = strip_water.drops_of(rows, Ahead(line_frac=0.4, running_l=84.0), scale())
    assert [TONGUE.litres(given) for _, given in drops] == litres


def test_the_rule_of_now_strikes_no_litres_through() -> None:
    near = row(20.0, 0.2, given_l=50.0)
    alone = drawn([near])
    assert re.search(r'text-anchor="end">50 L</text>', alone)
    crowded = drawn([row(60.0, 0.2, given_l=40.0), near])
    assert re.search(rf'y="{BOTTOM - 24:g}" text-anchor="end">50 L</text>', crowded)
    assert 'text-anchor="end"' not in drawn([row(120.0, 0.2, given_l=50.0)])
