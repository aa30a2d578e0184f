"""A valve node's round: time, network, valves, outputs, words, watchdog, in that order.

Everything that touches the world comes in from outside (`board.py` on a microcontroller, `desk.py`
on a desktop), so that this runs the same on both. No step waits, and the watchdog, fed at the end
of a round only, resets a node whose round does not end.
"""

from lease_node.meter import Meter
from lease_node.ticks import Uptime
from lease_node.valve import Valve


class ValveLoop:
    """All valves of one node, and its meter.

    Args:
        board: ticks(), period_ticks, random_hex(digits), output(index, on), beat(), feed(),
            pulses().
        link: step(ms), publish(topic, payload, qos), is_ready.
        link_ms: gives the network's time [ms]; on a microcontroller the same clock.
        kept: orders, save(orders).
        names: of the valves, in the order of the outputs.
        root: of the topics, such as "thirstline/hollin-lane".
        meter: name of the meter; empty for none.
    """

    def __init__(
        self,
        board: object,
        link: object,
        link_ms: object,
        kept: object,
        names: tuple,
        root: str,
        meter: str = "",
    ) -> None:
        self._board, self._link, self._link_ms, self._kept = board, link, link_ms, kept
        self._uptime = Uptime(board.ticks(), board.period_ticks)
        boot = board.random_hex(8)
        self.valves = [
            Valve(name, boot, board.random_hex, 0, kept.orders.get(name, (0, 0))) for name in names
        ]
        self._root = root
        self._meter = Meter(meter, boot, 0) if meter else None
        self._was_ready = False
        self._on = [False for _ in names]
        self._epochs = {valve.name: valve.order[0] for valve in self.valves}

    def step(self) -> None:
        """Go round once."""
        now_ms = self._uptime.update(self._board.ticks())
        if self._uptime.went_back:
            self.close_all(now_ms)
        for topic, payload, retained in self._link.step(self._link_ms()):
            self._hear(topic, payload, retained, now_ms)
        ended = self._drive(now_ms)
        self._speak(now_ms)
        self._keep(ended)
        self._board.feed()

    def close_all(self, now_ms: int) -> None:
        """Close every valve."""
        for valve in self.valves:
            valve.close(now_ms)

    def topics(self) -> list:
        """List what to hear: (topic, QoS)."""
        return [
            (f"{self._root}/valve/{valve.name}/{kind}", qos)
            for valve in self.valves
            for kind, qos in (("lease", 0), ("close", 1))
        ]

    def _hear(self, topic: str, payload: bytes, retained: bool, now_ms: int) -> None:
        for valve in self.valves:
            for kind in ("close", "lease"):
                if topic == f"{self._root}/valve/{valve.name}/{kind}":
                    valve.hear(kind, payload, retained, now_ms)

    def _drive(self, now_ms: int) -> bool:
        """Set the outputs to what the valves are; whether an opening ended."""
        ended = False
        for index, valve in enumerate(self.valves):
            valve.advance(now_ms)
            self._board.output(index, valve.is_open)
            ended = ended or (self._on[index] and not valve.is_open)
            self._on[index] = valve.is_open
        if any(self._on):
            self._board.beat()
        return ended

    def _speak(self, now_ms: int) -> None:
        ready = self._link.is_ready
        if not ready:
            self._was_ready = False
            return
        for valve in self.valves:
            if valve.has_news(now_ms) or not self._was_ready:
                topic = f"{self._root}/valve/{valve.name}/state"
                if not self._link.publish(topic, valve.state(now_ms), 1):
                    return
        self._was_ready = True
        if self._meter is not None:
            self._meter.count(self._board.pulses(), now_ms)
            if self._meter.has_news(now_ms):
                reading = self._meter.reading(now_ms)
                self._link.publish(f"{self._root}/meter/{self._meter.name}", reading, 1)

    def _keep(self, ended: bool) -> None:
        """Write the orders down at the end of an opening and at the first of an epoch."""
        epochs = {valve.name: valve.order[0] for valve in self.valves}
        if ended or epochs != self._epochs:
            self._epochs = epochs
            self._kept.save({v.name: v.order for v in self.valves if v.order != (0, 0)})
