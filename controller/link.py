"""The MQTT edge of the daemon: one connection at a time, and nothing ever queued to open.

The thread of `MqttLink` owns the connection. The link is *online* once the broker has granted all
subscriptions and our own canary has come back; it is down as soon as the connection ends or the
canary stays away. Leases go out only while online and only with a fresh nonce of the node; closes
are repeated until confirmed. Events are delivered by the link's thread, outside every lock.

Left out: plain relays (valves without leases) are never opened from here.
"""

from __future__ import annotations

import logging
import random
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from controller.closing import Closing
from controller.connection import Connection, address_of
from controller.effects import MAX_LEASE_S, Alert, Close, Lease
from controller.errors import LinkError
from controller.events import Event, ForeignController, LinkDown, LinkUp, ValveReport
from controller.inbox import Canary, Heard, Inbox, LinkCounters
from controller.link_words import GONE, alert_list, plain_json, rfc3339
from controller.ports import Clock
from controller.sensing.payload import ControllerState

if TYPE_CHECKING:
    from controller.garden import Garden

LEASE_EXPIRY_S = 10  # [s] real; a third line of defence, the node's nonce is the first
READY_S = 10.0  # [s] real, from the connection to the granted subscriptions
CANARY_EVERY_S = 15.0  # [s] garden time
CANARY_EVERY_REAL_S = 0.25  # [s] real, at least
CANARY_LOST_S = 45.0  # [s] garden time
CANARY_LOST_REAL_S = 2.0  # [s] real, at least: a busy machine may not run us for a second
CANARIES_KEPT = 8  # on their way at most
WAIT_S = 0.1  # [s] real, the longest that the thread waits for the network
RETRY_FIRST_S, RETRY_MOST_S = 0.5, 15.0  # [s] real, pause before another client
TRIED_S = 90.0  # [s] real; a thread that tries no new client for so long does not work
STOP_S = 2.0  # [s] real, for a clean end
GOODBYE_S = 0.5  # [s] real, for the broker to take the last word
MASTER_LAST = {"pump": 0, "bed": 1, "master": 2}  # order of closing

_log = logging.getLogger(__name__)


class MqttLink:
    """The way to the nodes.

    Args:
        garden: what to hear and whom to tell.
        clock: the daemon's clock, scaled in trials.
        deliver: called by the link's thread with each event; must be quick.
        speed: garden seconds in a real second, 1 or more.
        url: in place of the garden file's, where the broker is embedded.
        rng: source of jitter and of this run's name; seeded in tests.

    Raises:
        LinkError: the broker's URL or password file is no good.
    """

    def __init__(
        self,
        garden: Garden,
        clock: Clock,
        deliver: Callable[[Event], None],
        *,
        speed: float = 1.0,
        url: str | None = None,
        rng: random.Random | None = None,
    ) -> None:
        self._garden = garden
        self._clock = clock
        self._deliver = deliver
        self._address = address_of(garden, url)
        self._rng = rng or random.Random()
        self._run_name = f"{self._rng.getrandbits(48):012x}"
        self._canary_every_s = max(CANARY_EVERY_S / speed, CANARY_EVERY_REAL_S)
        self._canary_lost_s = max(CANARY_LOST_S / speed, CANARY_LOST_REAL_S)
        self._inbox = Inbox(garden)
        self._closing = Closing()
        self._lock = threading.RLock()  # guards inbox, closing and what we say of ourselves
        self._connection: Connection | None = None
        self._online = False
        self._epoch: int | None = None
        self._say_state = False
        self._alerts: bytes | None = None
        self._say_alerts = False
        self._cause = ""
        self._canary = self._rng.getrandbits(40)
        self._canaries: deque[int] = deque(maxlen=CANARIES_KEPT)
        self._canary_heard_s = 0.0
        self._canary_next_s = 0.0
        self._tried_s = time.monotonic()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._live, name="mqtt-link", daemon=True)

    @property
    def online(self) -> bool:
        """Whether the link lives both ways."""
        connection = self._connection
        return self._online and connection is not None and connection.lost is None

    @property
    def counters(self) -> LinkCounters:
        """What came in since this process began."""
        with self._lock:
            return self._inbox.counters

    def is_working(self) -> bool:
        """Tell whether the thread lives and, if not online, still tries (for the watchdog)."""
        trying = self.online or time.monotonic() - self._tried_s < TRIED_S
        return self._thread.is_alive() and trying

    def start(self) -> None:
        """Begin; returns at once."""
        self._thread.start()

    def stop(self) -> None:
        """Say gone, disconnect, and wait at most 2 s for the thread."""
        self._stopping.set()
        if self._thread.is_alive() and threading.current_thread() is not self._thread:
            self._thread.join(STOP_S)

    def send_lease(self, lease: Lease) -> bool:
        """Send once, at most, now; True if it went out with a fresh nonce."""
        connection = self._connection
        if connection is None or not self.online or not 1 <= lease.open_s <= MAX_LEASE_S:
            return False
        valve = self._garden.valves.get(lease.valve)
        if valve is None or valve.plain_relay:
            return False
        with self._lock:
            mono_s = self._clock.mono_s()
            nonce = self._inbox.nonces.fresh(lease.valve, mono_s=mono_s)
            if nonce is None or self._closing.pending(lease.valve, mono_s=mono_s):
                return False
            sent = connection.publish(
                self._garden.topic("lease", lease.valve),
                plain_json(
                    open_s=lease.open_s,
                    dose=lease.dose,
                    epoch=lease.epoch,
                    seq=lease.seq,
                    nonce=nonce,
                ),
                qos=0,
                expiry_s=LEASE_EXPIRY_S,
            )
            self._closing.leased(lease, mono_s=mono_s)  # even where it may not have gone out
            self._inbox.forget(lease.valve)
        return sent

    def send_close(self, close: Close) -> None:
        """Send, and repeat until confirmed or the longest lease and its margin have passed."""
        valve = self._garden.valves.get(close.valve)
        if valve is None or valve.plain_relay:
            return
        with self._lock:
            self._closing.want(close, mono_s=self._clock.mono_s())
            self._inbox.nonces.burn(close.valve)
            self._inbox.forget(close.valve)
            self._send_due_closes()

    def close_all(self) -> None:
        """Close every valve: pumps first, the master last."""
        valves = self._garden.valves
        for valve in sorted(valves, key=lambda name: (MASTER_LAST[valves[name].role], name)):
            self.send_close(Close(valve=valve))

    def announce(self, epoch: int) -> None:
        """Say that this run controls under `epoch`, now and after each reconnection."""
        with self._lock:
            self._epoch = epoch
            self._say_state = True
            self._say()

    def publish_alerts(self, alerts: Sequence[Alert]) -> None:
        """Publish all alerts that stand, now and after each reconnection."""
        with self._lock:
            self._alerts = alert_list(alerts)
            self._say_alerts = True
            self._say()

    # -- the link's own thread

    def _live(self) -> None:
        pause_s = RETRY_FIRST_S
        while not self._stopping.is_set():
            self._tried_s = time.monotonic()
            try:
                if self._serve_one():
                    pause_s = RETRY_FIRST_S
            except LinkError as exc:
                self._complain(str(exc))
            except Exception:  # the thread must outlive whatever goes wrong in one connection
                _log.exception("the link fell over and starts anew")
            self._stopping.wait(pause_s * self._rng.uniform(0.5, 1.0))
            pause_s = min(2.0 * pause_s, RETRY_MOST_S)

    def _serve_one(self) -> bool:
        """Live through one connection; True if it was ever online."""
        connection = Connection(
            self._address,
            self._inbox.subscriptions(),
            will=(self._garden.topic("controller_state"), GONE),
        )
        was_online = False
        try:
            connection.open()
            self._wait_ready(connection)
            self._begin(connection)
            while connection.lost is None and not self._stopping.is_set():
                connection.pump(WAIT_S)
                self._take_in(connection)
                self._tend(connection)
                was_online = was_online or self._online
            self._goodbye(connection)
        finally:
            self._connection = None
            connection.close()
            self._down(connection.lost)
        return was_online

    def _wait_ready(self, connection: Connection) -> None:
        until_s = time.monotonic() + READY_S
        while not connection.is_ready():
            connection.pump(WAIT_S)
            if connection.lost is not None:
                raise LinkError(connection.lost)
            if self._stopping.is_set() or time.monotonic() >= until_s:
                msg = "the broker did not answer in time"
                raise LinkError(msg)

    def _begin(self, connection: Connection) -> None:
        """Clean ghosts from the lease topics; the first canary goes out."""
        for valve in sorted(self._garden.valves):
            if not self._garden.valves[valve].plain_relay:
                connection.publish(self._garden.topic("lease", valve), b"", qos=0, retain=True)
        with self._lock:
            self._canaries.clear()
            self._canary_next_s = 0.0
            self._canary_heard_s = time.monotonic()
            self._closing.again()
            self._say_state = self._say_alerts = True
            self._connection = connection

    def _take_in(self, connection: Connection) -> None:
        for topic, payload, retained in connection.take():
            at_utc_s, mono_s = self._clock.utc_s(), self._clock.mono_s()
            with self._lock:
                heard = self._inbox.hear(
                    topic, payload, retained=retained, at_utc_s=at_utc_s, mono_s=mono_s
                )
            for one in heard:
                self._pass_on(one, at_utc_s=at_utc_s, mono_s=mono_s)

    def _pass_on(self, heard: Heard, *, at_utc_s: float, mono_s: float) -> None:
        if isinstance(heard, Canary):
            self._canary_came_back(heard.number)
        elif isinstance(heard, ControllerState):
            if self._is_foreign(heard):
                epoch = heard.epoch or 0
                self._hand_over(ForeignController(at_utc_s=at_utc_s, mono_s=mono_s, epoch=epoch))
        else:
            if isinstance(heard, ValveReport):
                with self._lock:
                    self._closing.confirm(heard)
            self._hand_over(heard)

    def _hand_over(self, event: Event) -> None:
        try:
            self._deliver(event)
        except Exception:  # whatever the receiver does, the link lives on
            _log.exception("an event of kind %s was not taken", event.kind)

    def _is_foreign(self, heard: ControllerState) -> bool:
        if not heard.up:
            self._say_state = True  # our last will, or another's end: say again who is here
            return False
        if heard.run is not None:
            return heard.run != self._run_name
        return heard.epoch != self._epoch

    def _canary_came_back(self, number: int) -> None:
        if number not in self._canaries:
            return  # another's
        self._canary_heard_s = time.monotonic()
        if not self._online:
            self._online = True
            self._cause = ""
            at_utc_s, mono_s = self._clock.utc_s(), self._clock.mono_s()
            self._hand_over(LinkUp(at_utc_s=at_utc_s, mono_s=mono_s))
            with self._lock:
                self._say()

    def _tend(self, connection: Connection) -> None:
        now_s = time.monotonic()
        if now_s - self._canary_heard_s > self._canary_lost_s:
            connection.lost = connection.lost or "our own canary was not heard"
            return
        with self._lock:
            self._send_due_closes()
            if now_s >= self._canary_next_s:
                self._canary_next_s = now_s + self._canary_every_s
                self._send_canary(connection)
            self._rest_from_floods(connection, now_s)
            self._say()

    def _rest_from_floods(self, connection: Connection, now_s: float) -> None:
        """Leave topics that starve all others, and hear them again after a while."""
        for topic in self._inbox.noisy.leave(now_s):
            connection.leave(topic)
        for topic in self._inbox.noisy.back(now_s):
            connection.hear(topic, kept=self._inbox.keeps(topic))

    def _send_canary(self, connection: Connection) -> None:
        self._canary += 1
        self._canaries.append(self._canary)
        connection.publish(self._garden.topic("canary"), str(self._canary).encode(), qos=0)

    def _send_due_closes(self) -> None:
        connection = self._connection
        if connection is None or connection.lost is not None:
            return
        mono_s, real_s = self._clock.mono_s(), time.monotonic()
        for close in self._closing.due(mono_s=mono_s, real_s=real_s):
            topic = self._garden.topic("close", close.valve)
            sent = connection.publish(topic, plain_json(dose=close.dose) if close.dose else b"")
            self._closing.tried(close.valve, sent=sent, mono_s=mono_s, real_s=real_s)

    def _say(self) -> None:
        """Publish what we say of ourselves, where it is due; the lock is held."""
        connection = self._connection
        if connection is None or not self.online:
            return
        if self._say_alerts and self._alerts is not None:
            topic = self._garden.topic("alert")
            self._say_alerts = not connection.publish(topic, self._alerts, retain=True)
        if self._say_state and self._epoch is not None:
            at = rfc3339(self._clock.utc_s())
            state = plain_json(state="up", epoch=self._epoch, at=at, run=self._run_name)
            topic = self._garden.topic("controller_state")
            self._say_state = not connection.publish(topic, state, retain=True)

    def _goodbye(self, connection: Connection) -> None:
        if connection.lost is not None:
            return
        connection.publish(self._garden.topic("controller_state"), GONE, retain=True)
        until_s = time.monotonic() + GOODBYE_S
        while not connection.idle() and time.monotonic() < until_s:
            connection.pump(WAIT_S)

    def _down(self, cause: str | None) -> None:
        with self._lock:
            self._inbox.forget_all()
        if self._online:
            self._online = False
            self._complain(f"down: {cause}")
            at_utc_s, mono_s = self._clock.utc_s(), self._clock.mono_s()
            self._hand_over(LinkDown(at_utc_s=at_utc_s, mono_s=mono_s))

    def _complain(self, cause: str) -> None:
        """Log a cause once, not at each new attempt."""
        level = (
            logging.DEBUG if cause == self._cause or self._stopping.is_set() else logging.WARNING
        )
        self._cause = cause
        _log.log(level, "link: %s", cause)
