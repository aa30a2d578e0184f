"""The alarms' edge: hears what stands, decides at a distance from the control loop, keeps, sends.

The engine's thread only leaves the newest list of alerts here and goes on: it waits for no lock, no
disk and no network. One thread decides what is told; each way has a thread of its own.
"""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Callable, Sequence
from typing import Any, Protocol

from controller.alarming.codes import AlertCode
from controller.alarming.command import CommandWay
from controller.alarming.courier import Courier
from controller.alarming.hours import in_frost_months, is_quiet, local, weekly_after, weekly_before
from controller.alarming.letters import Message, alarm_letter, trial_letter
from controller.alarming.outbox import KEPT_JSON, Kept, Line, got_out, put, to_send
from controller.alarming.reports import ItsUseError, WayReport, always_there, reported, way_words
from controller.alarming.told import Item, look
from controller.alarming.ways import Delivery, Way
from controller.alarming.weekly import Given, weekly_letter
from controller.datafolder import DataFolder
from controller.effects import Alert, Alerts, Effect
from controller.errors import StoreError
from controller.events import AlarmWay, Event
from controller.garden import Garden
from controller.keeping.last import backup_state, weekly_words
from controller.ports import Clock
from controller.store import open_reader

log = logging.getLogger(__name__)

LOOK_S = 10.0  # [s] garden time, between looks at what stands
LOOK_LEAST_REAL_S = 0.05
END_S = 1.0  # [s] real, for a way to end
TEST_PAUSE_S = 30.0  # [s] garden time, between two tests
WEEK_S = 7 * 86_400.0


class House(Protocol):
    """The daemon as the alarms see it."""

    @property
    def setting(self) -> Garden:
        """The garden file in force."""

    def view(self) -> dict[str, Any]:
        """The garden's picture."""

    def deliver(self, event: Event) -> None:
        """Put an event to the engine."""


def ways_of(garden: Garden) -> list[Way]:
    """The ways out that a garden file sets."""
    alarm = garden.alarm
    ways: list[Way] = []
    if alarm.mail is not None:
        from controller.alarming.mail import MailWay  # most gardens send none

        ways.append(MailWay(alarm.mail, garden))
    if alarm.command is not None:
        ways.append(CommandWay(alarm.command, garden, os.environ))
    return ways


class Alarmer:
    """Tells people what stands.

    Args:
        folder: keeps what was told.
        clock: the garden's.
        house: the daemon.
        speed: of the clock.
        make_ways: makes the ways out; tests put others.
    """

    def __init__(
        self,
        folder: DataFolder,
        clock: Clock,
        house: House,
        *,
        speed: float = 1.0,
        make_ways: Callable[[Garden], Sequence[Way]] = ways_of,
    ) -> None:
        self._folder = folder
        self._clock = clock
        self._house = house
        self._look_real_s = max(LOOK_LEAST_REAL_S, LOOK_S / speed)
        self._make_ways = make_ways
        self._standing: tuple[Alert, ...] | None = None  # None: nothing was heard yet
        self._lock = threading.Lock()  # of what is kept
        self._fitting = threading.Lock()  # of the ways
        self._testing = threading.Lock()
        self._tested_mono_s = float("-inf")
        self._kept = self._load()
        self._saved = KEPT_JSON.dump_json(self._kept)
        self._save_fails = False
        self._garden: Garden | None = None
        self._couriers: dict[str, Courier] = {}
        self._running = False
        self._wake = threading.Event()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._live, name="alarms", daemon=True)

    # -- coming and going

    def start(self) -> None:
        """Begin to tell."""
        self._running = True
        self._thread.start()

    def stop(self) -> None:
        """End; what waits is kept for the next start."""
        self._ending.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(END_S)
        for courier in self._couriers.values():
            courier.stop(END_S)

    def hear(self, at_utc_s: float, effect: Effect) -> None:
        """Take what stands from the engine's thread; the newest list counts, nothing waits."""
        del at_utc_s
        if isinstance(effect, Alerts):
            self._standing = effect.standing
            self._wake.set()

    def _live(self) -> None:
        while not self._ending.is_set():
            try:
                self.look()
            except Exception as exc:
                # its text may hold what was to be sent
                log.error("alarms: %s", type(exc).__name__)  # noqa: TRY400
            self._wake.wait(self._look_real_s)
            self._wake.clear()

    # -- deciding

    def look(self) -> None:
        """See what is to be told now, write it down, and let it go out."""
        garden = self._house.setting
        self._fit(garden)
        standing = self._standing
        if standing is None:
            return
        now_utc_s = self._clock.utc_s()
        with self._lock:
            told = self._reconcile(standing)
            if self._couriers:
                self._tell(garden, standing, now_utc_s)
            self._save()
        for event in told:
            self._house.deliver(event)

    def _fit(self, garden: Garden) -> None:
        """Have the ways that the garden file in force sets."""
        with self._fitting:
            if self._garden is not None and self._garden.alarm == garden.alarm:
                return
            before, self._couriers = self._couriers, {}
            self._garden = garden
            for courier in before.values():
                courier.stop(0.0)
            for way in self._make_ways(garden):
                self._couriers[way.name] = self._courier(way)
            with self._lock:
                lines = self._kept.lines
                self._kept.lines = {name: lines.get(name, Line()) for name in self._couriers}

    def _courier(self, way: Way) -> Courier:
        name = way.name
        courier = Courier(
            way,
            self._clock,
            lambda: self._waiting(name),
            lambda ids, delivery, alarms: self._done(name, ids, delivery, alarms=alarms),
        )
        if self._running:
            courier.start()
        return courier

    def _tell(self, garden: Garden, standing: Sequence[Alert], now_utc_s: float) -> None:
        """Write what is due to every way; the lock is held."""
        zone, book = garden.garden.zone, self._kept.book
        quiet = is_quiet(now_utc_s, zone, garden.alarm.quiet)
        items = look(book, standing, now_utc_s, quiet=quiet, growing=_grows(garden, now_utc_s))
        if items:
            book.messages += 1
            for name in self._couriers:
                own = [item for item in items if not _about(item, name)]
                if own:
                    self._put(name, alarm_letter(garden, own, book.messages, now_utc_s))
        if not quiet:
            self._tell_week(garden, standing, now_utc_s)

    def _tell_week(self, garden: Garden, standing: Sequence[Alert], now_utc_s: float) -> None:
        day, zone, book = garden.alarm.weekly, garden.garden.zone, self._kept.book
        if day == "never":
            return
        due_s = weekly_before(now_utc_s, zone, day)
        if book.weekly_utc_s is None or book.weekly_utc_s > due_s:
            book.weekly_utc_s = due_s  # the first start, or a clock that was put back
        if book.weekly_utc_s == due_s:
            return
        book.weekly_utc_s = due_s
        letter = weekly_letter(
            garden,
            self._house.view(),
            self._given(now_utc_s - WEEK_S),
            standing,
            due_utc_s=due_s,
            now_utc_s=now_utc_s,
            next_utc_s=weekly_after(now_utc_s, zone, day),
            backup=weekly_words(backup_state(self._folder, now_utc_s)),
        )
        for name in self._couriers:
            self._put(name, letter)

    def _given(self, from_utc_s: float) -> list[Given] | None:
        try:
            with open_reader(self._folder) as reader:
                rows = reader.given_since(from_utc_s)
        except StoreError:
            return None
        return [Given(bed=bed, waterings=many, litres=litres) for bed, many, litres in rows]

    def _put(self, name: str, message: Message) -> None:
        put(self._kept.lines[name], message)
        self._couriers[name].wake()

    # -- what becomes of it

    def _waiting(self, name: str) -> list[Message]:
        with self._lock:
            line = self._kept.lines.get(name)
            return [] if line is None else to_send(line)

    def _done(self, name: str, ids: set[str], delivery: Delivery, *, alarms: bool) -> None:
        with self._lock:
            line = self._kept.lines.get(name)
            if line is None:
                return
            if delivery.out:
                got_out(line, ids, self._clock.utc_s())
            if alarms:
                line.failing = delivery.cause
            elif delivery.out:
                line.failing = ""
            self._save()
        self._wake.set()

    def _reconcile(self, standing: Sequence[Alert]) -> list[AlarmWay]:
        """What the engine has to hear, so that its alerts say how the ways fare; the lock held."""
        prefix = f"{AlertCode.ALARM_FAILED}-"
        raised = {
            alert.id.removeprefix(prefix)
            for alert in standing
            if alert.code == AlertCode.ALARM_FAILED
        }
        failing = {name: line.failing for name, line in self._kept.lines.items() if line.failing}
        return [
            AlarmWay(
                at_utc_s=self._clock.utc_s(),
                mono_s=self._clock.mono_s(),
                way=name,
                works=name not in failing,
                cause=failing.get(name, ""),
            )
            for name in sorted(raised ^ failing.keys())
        ]

    # -- for people

    def test(self) -> list[WayReport]:
        """Send a test by every way that is set, all at once, and say what became of each.

        Raises:
            ItsUseError: another test is under way, or was half a minute ago.
        """
        if not self._testing.acquire(blocking=False):
            raise ItsUseError
        try:
            now_s = self._clock.mono_s()
            if now_s - self._tested_mono_s < TEST_PAUSE_S:
                raise ItsUseError
            self._tested_mono_s = now_s
            garden = self._house.setting
            self._fit(garden)
            with self._lock:
                self._kept.book.messages += 1
                number = self._kept.book.messages
            message = trial_letter(garden, number, self._clock.utc_s())
            found = _all_at_once(dict(self._couriers), message)
            return [*always_there(self._house.view(), garden), *reported(garden, found)]
        finally:
            self._testing.release()

    def report(self) -> dict[str, Any]:
        """How the ways fare, for the page."""
        garden = self._house.setting
        with self._lock:
            lines = {
                name: (len(line.waiting), line.failing, line.out_utc_s)
                for name, line in self._kept.lines.items()
            }
        return {
            "ways": list(way_words(garden).values()),
            "lines": lines,
            "quiet": garden.alarm.quiet,
            "weekly": garden.alarm.weekly,
        }

    # -- the disk

    def _load(self) -> Kept:
        try:
            text = self._folder.read_alarms()
            return KEPT_JSON.validate_json(text) if text else Kept()
        except (StoreError, ValueError) as exc:
            log.warning("what was told before cannot be read (%s): told anew", type(exc).__name__)
            return Kept()

    def _save(self) -> None:
        """Write down what changed; a disk that cannot keeps nobody from being told."""
        now = KEPT_JSON.dump_json(self._kept)
        if now == self._saved:
            return
        try:
            self._folder.write_alarms(now.decode("ascii"))
        except (StoreError, ValueError) as exc:
            if not self._save_fails:
                log.warning("what was told cannot be kept: %s", exc)
            self._save_fails = True
        else:
            self._saved, self._save_fails = now, False


def _about(item: Item, way: str) -> bool:
    """Whether this tells of the very way that it would go by."""
    return item.alert.id == f"{AlertCode.ALARM_FAILED}-{way}"


def _grows(garden: Garden, now_utc_s: float) -> bool:
    """Whether a bed has plants in it, outside the frost months."""
    zone = garden.garden.zone
    if in_frost_months(now_utc_s, zone, garden.garden.frost_lock):
        return False
    today = local(now_utc_s, zone).date()
    return any(
        bed.transplanted <= today and (bed.cleared is None or today < bed.cleared)
        for bed in garden.beds.values()
    )


def _all_at_once(couriers: dict[str, Courier], message: Message) -> dict[str, Delivery]:
    found: dict[str, Delivery] = {}

    def one(name: str, courier: Courier) -> None:
        found[name] = courier.test(message)

    threads = [
        threading.Thread(target=one, args=item, name=f"test of {item[0]}", daemon=True)
        for item in couriers.items()
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found
