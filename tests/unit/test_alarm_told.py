"""What is told of alerts and when: at once, in company, at night, again, over, after a restart."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from controller.alarming.codes import ALERTS, DAY_S, AtNight
from controller.alarming.hours import is_quiet, weekly_after, weekly_before
from controller.alarming.outbox import KEPT_JSON, Kept
from controller.alarming.told import GATHER_S, SETTLES_S, Book, Item, look
from controller.effects import Alert
from controller.watering.guard import LATCHING

ZONE = ZoneInfo("America/Los_Angeles")
NOW_S = datetime(2026, 7, 15, 12, 0, tzinfo=ZONE).timestamp()
HOUR_S = 3600.0


def alert(code: str = "probe_silent", *, person: bool = False, key: str = "") -> Alert:
    return Alert(
        id=key or code, code=code, since_utc_s=NOW_S, text=f"{code} it is.", person_needed=person
    )


class Days:
    """A book and its clock; `pass_by` looks every ten seconds like the daemon, or each minute."""

    def __init__(self, *, growing: bool = True, quiet: str = "never") -> None:
        self.book = Book()
        self.now_s = NOW_S
        self.growing = growing
        self.quiet = quiet
        self.told: list[tuple[float, list[Item]]] = []

    def look(self, standing: Sequence[Alert]) -> list[str]:
        quiet = is_quiet(self.now_s, ZONE, self.quiet)
        items = look(self.book, standing, self.now_s, quiet=quiet, growing=self.growing)
        if items:
            self.told.append((self.now_s, items))
        return [f"{item.what} {item.alert.id}" for item in items]

    def pass_by(self, hours: float, standing: Sequence[Alert], step_s: float = 60.0) -> list[str]:
        found: list[str] = []
        end_s = self.now_s + hours * HOUR_S
        while self.now_s < end_s:
            self.now_s += step_s
            found += self.look(standing)
        return found


def test_a_new_alert_is_told_within_a_minute_and_once() -> None:
    days = Days()
    assert days.look([alert()]) == []
    assert days.pass_by(GATHER_S / HOUR_S, [alert()], 10.0) == ["new probe_silent"]
    assert days.pass_by(23.0, [alert()]) == []


@pytest.mark.parametrize("code", ["burst", "leak", "valve_stuck_open"])
def test_what_floods_is_told_at_the_very_look_by_day_and_by_night(code: str) -> None:
    days = Days(quiet="22:00-07:00")
    assert days.look([alert(code, person=True)]) == [f"new {code}"]
    days = Days(quiet="22:00-07:00")
    days.now_s += 14.5 * HOUR_S  # 02:30
    assert days.look([alert(code, person=True)]) == [f"new {code}"]


def test_what_comes_within_a_minute_makes_one_message() -> None:
    days = Days()
    days.look([alert(key="a")])
    days.now_s += 40.0
    days.look([alert(key="a"), alert(key="b")])
    days.now_s += 20.0
    assert days.look([alert(key="a"), alert(key="b")]) == ["new a", "new b"]


def test_the_night_is_quiet_but_the_morning_tells_all_in_one() -> None:
    days = Days(quiet="22:00-07:00")
    days.now_s += 11 * HOUR_S  # 23:00
    standing = [alert("link_lost"), alert("bed_waiting"), alert("cannot_record")]
    assert days.pass_by(7.9, standing) == []  # to 06:54
    told = days.pass_by(0.2, standing)
    assert sorted(told) == ["new bed_waiting", "new cannot_record", "new link_lost"]
    assert len(days.told) == 1


def test_what_came_and_went_in_the_night_is_not_told() -> None:
    days = Days(quiet="22:00-07:00")
    days.now_s += 11 * HOUR_S
    days.pass_by(1.0, [alert("link_lost")])
    assert days.pass_by(12.0, []) == []


@pytest.mark.parametrize("growing", [True, False])
def test_a_frost_wakes_people_only_while_something_grows(*, growing: bool) -> None:
    days = Days(quiet="22:00-07:00", growing=growing)
    days.now_s += 15 * HOUR_S  # 03:00
    assert days.look([alert("frost")]) == (["new frost"] if growing else [])


def test_a_person_is_reminded_each_day_and_nobody_of_the_rest() -> None:
    days = Days()
    standing = [alert("burst", person=True), alert("probe_silent")]
    told = days.pass_by(80.0, standing)
    assert told.count("new burst") == told.count("new probe_silent") == 1
    assert told.count("again burst") == 3
    assert told.count("again probe_silent") == 0


def test_reminders_that_are_near_share_one_message() -> None:
    days = Days()
    days.pass_by(1.0, [alert("bed_waiting")])
    both = [alert("bed_waiting"), alert("bed_blind")]
    days.pass_by(3.0, both)
    days.told.clear()
    days.pass_by(48.0, both)
    assert [len(items) for _, items in days.told] == [2, 2]


def test_the_end_is_told_once_and_only_where_the_beginning_was() -> None:
    days = Days()
    days.pass_by(1.0, [alert("link_lost")])
    days.look([alert("link_lost"), alert("probe_silent")])
    told = days.pass_by(24.0, [])
    assert told == ["over link_lost"]


def test_an_alert_that_is_soon_back_was_never_over() -> None:
    days = Days()
    days.pass_by(1.0, [alert("link_lost")])
    assert days.pass_by((SETTLES_S - 120.0) / HOUR_S, []) == []
    assert days.pass_by(20.0, [alert("link_lost")]) == []
    assert days.pass_by(1.0, []) == ["over link_lost"]


def test_one_that_comes_and_goes_all_day_is_spread() -> None:
    days = Days()
    for _ in range(24):
        days.pass_by(0.5, [alert("valve_silent")])
        days.pass_by(0.5, [])
    told = [item.what for _, items in days.told for item in items]
    assert 3 <= told.count("new") <= 3 + 24 // 6
    assert told.count("over") <= told.count("new")


def test_a_pause_is_told_only_when_it_has_lasted_a_day() -> None:
    days = Days()
    assert days.pass_by(23.5, [alert("paused")]) == []
    assert days.pass_by(25.0, [alert("paused")]) == ["new paused", "again paused"]


def test_nothing_is_told_twice_after_a_restart() -> None:
    days = Days()
    standing = [alert("burst", person=True), alert("bed_waiting")]
    days.pass_by(1.0, standing)
    kept = KEPT_JSON.validate_json(KEPT_JSON.dump_json(Kept(book=days.book)))
    days.book = kept.book
    assert days.pass_by(20.0, standing) == []


def test_a_clock_put_back_neither_repeats_nor_silences() -> None:
    days = Days()
    days.pass_by(1.0, [alert("bed_waiting")])
    days.now_s -= 100 * DAY_S
    assert days.pass_by(20.0, [alert("bed_waiting")]) == []
    assert days.pass_by(6.0, [alert("bed_waiting")]) == ["again bed_waiting"]


def test_a_code_of_another_version_is_told_as_it_stands() -> None:
    days = Days()
    assert days.pass_by(0.1, [alert("never_heard_of")]) == ["new never_heard_of"]


def test_all_that_latches_for_water_breaks_the_night_and_is_by_a_person() -> None:
    loud = {code.value for code, rule in ALERTS.items() if rule.at_night is AtNight.ALWAYS}
    asked = {"flow_asked"}  # asks first whether it is a leak
    assert loud == {"burst", "leak", "valve_stuck_open", "master_failed"} | asked
    assert loud - asked <= LATCHING
    assert all(ALERTS[code].ended_by.startswith("a person") for code in ALERTS if code in LATCHING)


# -- hours


@pytest.mark.parametrize(
    ("hour", "minute", "quiet"),
    [(21, 59, False), (22, 0, True), (3, 0, True), (6, 59, True), (7, 0, False), (12, 0, False)],
)
def test_quiet_hours_lie_over_midnight(hour: int, minute: int, *, quiet: bool) -> None:
    at_s = datetime(2026, 7, 15, hour, minute, tzinfo=ZONE).timestamp()
    assert is_quiet(at_s, ZONE, "22:00-07:00") is quiet
    assert is_quiet(at_s, ZONE, "never") is False


def test_quiet_hours_within_a_day() -> None:
    noon_s = datetime(2026, 7, 15, 12, 30, tzinfo=ZONE).timestamp()
    assert is_quiet(noon_s, ZONE, "12:00-13:00")
    assert not is_quiet(noon_s + HOUR_S, ZONE, "12:00-13:00")


@pytest.mark.parametrize(
    ("now", "before", "after"),
    [
        ("2026-07-15T12:00", "2026-07-12T18:00", "2026-07-19T18:00"),
        ("2026-07-19T17:59", "2026-07-12T18:00", "2026-07-19T18:00"),
        ("2026-07-19T18:00", "2026-07-19T18:00", "2026-07-26T18:00"),
        ("2026-10-28T12:00", "2026-10-25T18:00", "2026-11-01T18:00"),  # the clocks change between
    ],
)
def test_the_week_is_due_on_its_local_evening(now: str, before: str, after: str) -> None:
    def instant(text: str) -> float:
        return datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp()

    assert weekly_before(instant(now), ZONE, "sun") == instant(before)
    assert weekly_after(instant(now), ZONE, "sun") == instant(after)
