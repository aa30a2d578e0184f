"""One connection to an MQTT 5 broker: a fresh client, opened once, pumped, thrown away.

The client library is only called under one lock, so that any thread may publish. Nothing is queued
for later: what cannot go out at once does not go out.

Left out: TLS; a broker elsewhere than on this board or a trusted network is reached by a tunnel.
"""

from __future__ import annotations

import select
import threading
import time
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from controller.errors import LinkError

if TYPE_CHECKING:
    from controller.garden import Garden

KEEPALIVE_S = 10  # [s] real; a dead link is noticed after up to twice this
MAX_PACKET_BYTES = 4096  # [bytes] larger ones never arrive
MAX_QUEUED = 16  # messages the client may hold; 0 would be unlimited
CONNECT_S = 5.0  # [s] real, to reach the broker
ANSWER_S = 5.0  # [s] real, for what a stranger is told
WAIT_S = 0.1  # [s] real


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """Where the broker is and who we are there."""

    host: str
    port: int
    client_id: str
    username: str | None = None
    password: str | None = field(default=None, repr=False)

    def renamed(self, client_id: str) -> Address:
        """Give the same broker under another client id."""
        return replace(self, client_id=client_id)


def address_of(garden: Garden, url: str | None = None) -> Address:
    """Work out the broker's address from the garden file.

    Args:
        garden: its `[broker]` table.
        url: in place of the file's, where the broker is embedded.

    Raises:
        LinkError: the URL is none of MQTT, or the password cannot be read.
    """
    broker = garden.broker
    text = url or broker.url
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port or 1883
    except ValueError as exc:
        msg = f"broker.url: {text!r} is no URL; allowed is mqtt://host:port"
        raise LinkError(msg) from exc
    if parts.scheme != "mqtt" or not host:
        msg = f"broker.url: {text!r} is no MQTT URL; allowed is mqtt://host:port"
        raise LinkError(msg)
    return Address(
        host=host,
        port=port,
        client_id=broker.client_id or f"thirstline-{garden.garden.id}",
        username=broker.username,
        password=_password(broker.password_file),
    )


def _password(path: str | None) -> str | None:
    if path is None:
        return None
    try:
        return Path(path).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as exc:
        msg = f"broker.password_file: {path} cannot be read: {exc}"
        raise LinkError(msg) from exc


class Connection:
    """One connection to the broker: opened, pumped by one thread, thrown away.

    `take` collects what arrived since the last call; `lost` says why it is over.
    """

    def __init__(
        self,
        address: Address,
        subscriptions: Iterable[tuple[str, bool]],
        *,
        will: tuple[str, bytes] | None = None,
    ) -> None:
        self.lost: str | None = None
        self._ready = False
        self._address = address
        self._subscriptions = [(topic, _options(kept)) for topic, kept in subscriptions]
        self._asked: dict[int | None, list[str]] = {}  # by message id: topics to be granted
        self._arrived: deque[tuple[str, bytes, bool]] = deque()
        self._unacknowledged: set[int] = set()
        self._lock = threading.RLock()
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=address.client_id,
            protocol=mqtt.MQTTv5,
            reconnect_on_failure=False,
        )
        client.suppress_exceptions = True  # one that got out would end the thread unseen
        client.max_queued_messages_set(MAX_QUEUED)
        client.connect_timeout = CONNECT_S
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        client.on_disconnect = self._on_disconnect
        if address.username is not None:
            client.username_pw_set(address.username, address.password)
        if will is not None:
            client.will_set(will[0], will[1], qos=1, retain=True)
        self._client = client

    def open(self) -> None:
        """Reach the broker and send CONNECT.

        Raises:
            LinkError: out of reach.
        """
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = 0
        properties.MaximumPacketSize = MAX_PACKET_BYTES
        try:
            with self._lock:
                self._client.connect(
                    self._address.host,
                    self._address.port,
                    keepalive=KEEPALIVE_S,
                    clean_start=True,
                    properties=properties,
                )
        except (OSError, ValueError) as exc:
            where = f"{self._address.host}:{self._address.port}"
            msg = f"the broker at {where} is out of reach: {getattr(exc, 'strerror', None) or exc}"
            raise LinkError(msg) from exc

    def pump(self, wait_s: float) -> None:
        """Wait for the network, at most so long, then move what can be moved."""
        sock = self._client.socket()
        if sock is None:
            self.lost = self.lost or "the connection is closed"
            return
        try:
            writing = [sock] if self._client.want_write() else []
            readable, writable, _ = select.select([sock], writing, [], wait_s)
        except (OSError, ValueError) as exc:
            self.lost = self.lost or f"the connection broke: {exc}"
            return
        try:
            with self._lock:
                self._move(bool(readable), bool(writable))
        except Exception as exc:  # a broken packet makes the client raise what it likes
            self.lost = self.lost or f"the connection broke: {exc!r}"

    def _move(self, readable: bool, writable: bool) -> None:
        if readable:
            self._client.loop_read()
        if writable or self._client.want_write():
            self._client.loop_write()
        self._client.loop_misc()

    def is_ready(self) -> bool:
        """Tell whether the broker has granted every subscription."""
        return self._ready

    def take(self) -> list[tuple[str, bytes, bool]]:
        """Collect (topic, payload, retained) of what arrived."""
        found = []
        while self._arrived:
            found.append(self._arrived.popleft())
        return found

    def publish(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 1,
        retain: bool = False,
        expiry_s: int | None = None,
    ) -> bool:
        """Send now; False where it did not go out at once."""
        properties = None
        if expiry_s is not None:
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
            properties.MessageExpiryInterval = expiry_s
        with self._lock:
            if self.lost is not None or not self._ready or self._client.want_write():
                return False  # behind a backlog it would only arrive late
            try:
                info = self._client.publish(topic, payload, qos, retain, properties)
            except (OSError, ValueError) as exc:
                self.lost = f"the connection broke: {exc}"
                return False
            if info.rc != mqtt.MQTT_ERR_SUCCESS:
                return False
            if qos > 0:
                self._unacknowledged.add(info.mid)
            return True

    def leave(self, topic: str) -> None:
        """Have the broker keep to itself what comes on a topic."""
        with self._lock:
            if self.lost is None:
                self._client.unsubscribe(topic)

    def hear(self, topic: str, *, kept: bool) -> None:
        """Have what comes on a topic again; one that is not granted any more ends the connection.

        Args:
            topic: one that was left.
            kept: whether its retained message is wanted.
        """
        with self._lock:
            if self.lost is None:
                _, mid = self._client.subscribe([(topic, _options(kept))])
                self._asked[mid] = [topic]

    def idle(self) -> bool:
        """Tell whether the broker has taken everything that was sent, or is gone."""
        with self._lock:
            if self.lost is not None:
                return True
            return not self._client.want_write() and not self._unacknowledged

    def close(self) -> None:
        """Say goodbye if the broker still listens, and let go of the socket."""
        with self._lock:
            sock = self._client.socket()
            self._client.disconnect()
            self.lost = self.lost or "closed by us"
            if sock is not None:
                sock.close()

    def _on_connect(
        self, client: mqtt.Client, _u: object, _f: object, reason: ReasonCode, _p: object
    ) -> None:
        if reason.is_failure:
            self.lost = f"the broker refuses us: {reason}"
        else:
            _, mid = client.subscribe(self._subscriptions)
            self._asked[mid] = [topic for topic, _ in self._subscriptions]

    def _on_subscribe(
        self, _c: mqtt.Client, _u: object, mid: int, reasons: list[ReasonCode], _p: object
    ) -> None:
        asked = self._asked.pop(mid, [])
        refused = [
            topic for topic, reason in zip(asked, reasons, strict=False) if reason.is_failure
        ]
        if refused or len(reasons) != len(asked):
            self.lost = f"the broker does not let us hear {', '.join(refused) or 'our topics'}"
        else:
            self._ready = True

    def _on_message(self, _c: mqtt.Client, _u: object, message: mqtt.MQTTMessage) -> None:
        self._arrived.append((message.topic, bytes(message.payload), bool(message.retain)))

    def _on_publish(self, _c: mqtt.Client, _u: object, mid: int, _r: object, _p: object) -> None:
        self._unacknowledged.discard(mid)

    def _on_disconnect(
        self, _c: mqtt.Client, _u: object, _f: object, reason: ReasonCode, _p: object
    ) -> None:
        self.lost = self.lost or f"the connection ended: {reason}"


def _options(kept: bool) -> SubscribeOptions:
    handling = (
        SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE if kept else SubscribeOptions.RETAIN_DO_NOT_SEND
    )
    return SubscribeOptions(qos=1, retainHandling=handling)


def stranger_may_write(host: str, port: int, topic: str, wait_s: float = ANSWER_S) -> bool:
    """Whether a client without account and password gets a word through to a topic.

    The word is empty and not kept. Nobody who listens, as on a machine that runs no broker for its
    network, is no open door.

    Args:
        host: of the broker.
        port: of the broker.
        topic: to be written on.
        wait_s: for each answer [s, real].

    Raises:
        LinkError: it took the connection and gave no answer.
    """
    told: list[bool] = []
    let_in = False
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.suppress_exceptions = True
    client.connect_timeout = CONNECT_S

    def on_connect(_c: object, _u: object, _f: object, reason: ReasonCode, _p: object) -> None:
        nonlocal let_in
        let_in = not reason.is_failure
        if let_in:
            client.publish(topic, b"", qos=1)
        else:
            told.append(False)

    def on_publish(_c: object, _u: object, _m: int, reason: ReasonCode, _p: object) -> None:
        told.append(not reason.is_failure)

    def on_disconnect(_c: object, _u: object, _f: object, _r: ReasonCode, _p: object) -> None:
        if let_in:
            told.append(False)  # thrown out for it

    client.on_connect, client.on_publish = on_connect, on_publish
    client.on_disconnect = on_disconnect
    try:
        client.connect(host, port, keepalive=KEEPALIVE_S)
    except OSError:
        return False
    try:
        until_s = time.monotonic() + wait_s
        while not told and time.monotonic() < until_s:
            client.loop(WAIT_S)
    finally:
        client.disconnect()
    if not told:
        msg = f"the broker at {host}:{port} gave a stranger no answer"
        raise LinkError(msg)
    return told[0]
