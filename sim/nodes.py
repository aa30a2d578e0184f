"""Virtual nodes: valve, meter, probe and mast as pure state machines of the wire's contract.

`ValveNode` obeys the node's side of the contract to the letter; firmware is compared with it. No
node reads a clock or a random source of the machine: time comes with each call [s, any origin], and
nonces and boot names come from the seed. A node's clock never runs backward: an earlier time than
the last one heard counts as the last one.
"""

from __future__ import annotations

import json
import math
import random
from typing import Literal, NamedTuple

CONTRACT = 1
LEASE_MOST_S = 120  # [s] a longer one is refused, not clipped
NONCE_LIFE_S = 45.0  # [s] from the state message that told it
CEILING_S = 5700.0  # [s] of unbroken opening, whatever the node is told
REST_S = 60.0  # [s] closed; only this breaks an opening
STATE_EVERY_S = 20.0  # [s]
PULSES_EVERY_S = 5.0  # [s] between totals while pulses come
PULSES_REST_S = 60.0  # [s] without a pulse, then as often as this
SENSE_EVERY_S = 600.0  # [s] probes and mast, where nothing else is said
FIRMWARE = "virtual 1"
LARGEST_PAYLOAD = 2048  # [bytes]
NEVER_S = -math.inf

_DIGITS = 12  # hex digits of a nonce


class _Node:
    """A clock that never runs backward, a seeded source of names, and a time of boot."""

    def __init__(self, seed: int, now_s: float) -> None:
        self._rng = random.Random(seed)
        self._now_s = now_s
        self._booted_s = now_s
        self._boot = self._name(8)

    def _name(self, digits: int) -> str:
        return f"{self._rng.getrandbits(4 * digits):0{digits}x}"

    def _later(self, now_s: float) -> float:
        if now_s > self._now_s:
            self._now_s = now_s
        return self._now_s

    @property
    def up_s(self) -> float:
        """Uptime [s]."""
        return self._now_s - self._booted_s


class ValveSays(NamedTuple):
    """What a valve node says of itself; `left_s` is whole where it is closed, as on the wire."""

    open: bool
    left_s: float
    dose: str
    nonce: str
    boot: str
    epoch: int
    seq: int


class ValveNode(_Node):
    """One valve that is open only on a fresh lease.

    Args:
        valve: its name.
        seed: of its nonces and boot names.
        now_s: time of its first boot [s].
        epoch: highest epoch accepted before; it survives a reboot.
        seq: highest sequence number accepted in that epoch.
    """

    def __init__(
        self, valve: str, seed: int, now_s: float, *, epoch: int = 0, seq: int = 0
    ) -> None:
        super().__init__(seed, now_s)
        self.valve = valve
        self._order = (epoch, seq)
        self._dose = ""
        self._nonces: dict[str, float] = {}
        self._until_s = NEVER_S  # end of the lease; open while it lies ahead
        self._open = False
        self._begun_s = NEVER_S  # of the opening that only a rest breaks
        self._closed_s = NEVER_S  # since when closed; a new node has rested
        self._told_s = NEVER_S
        self._news = True

    @property
    def is_open(self) -> bool:
        """Whether water can pass, as of the last call."""
        return self._open

    def lease(
        self, *, open_s: object, dose: str, epoch: int, seq: int, nonce: str, now_s: float
    ) -> bool:
        """Judge a lease and obey it if it stands.

        Args:
            open_s: whole number, 1 to 120 [s].
            dose: what it belongs to.
            epoch: of the controller.
            seq: rising within the epoch.
            nonce: from one of this boot's state messages of the last 45 s.
            now_s: time [s].

        Returns:
            Whether it was accepted.
        """
        now_s = self.advance(now_s)
        self._news = True
        seconds = open_s if isinstance(open_s, int) and not isinstance(open_s, bool) else 0
        if not self._acceptable(seconds, (epoch, seq), nonce, now_s):
            return False
        if not self._open and now_s - self._closed_s >= REST_S:
            self._begun_s = now_s
        self._order = (epoch, seq)
        self._dose = dose
        self._until_s = now_s + seconds
        self._open = True
        return True

    def close(self, now_s: float) -> None:
        """Close now; always obeyed, and every nonce given out before is burnt."""
        now_s = self.advance(now_s)
        self._shut(now_s)
        self._news = True

    def advance(self, now_s: float) -> float:
        """Let time pass: the lease and the ceiling end at their instant, not at the next call.

        Returns:
            The node's time [s].
        """
        now_s = self._later(now_s)
        if self._open:
            shuts_s = self._shuts_s()
            if now_s >= shuts_s:
                self._shut(shuts_s)
                self._news = True
        return now_s

    def next_due_s(self) -> float:
        """Give the next time at which something happens by itself [s]."""
        if self._news:
            return self._now_s
        tell_s = self._told_s + STATE_EVERY_S
        return min(tell_s, self._shuts_s()) if self._open else tell_s

    def has_news(self, now_s: float) -> bool:
        """Tell whether a state message is due: a change, a lease, a close, or 20 s."""
        now_s = self.advance(now_s) if self._open else self._later(now_s)
        return self._news or now_s >= self._told_s + STATE_EVERY_S

    def state(self, now_s: float) -> dict[str, object]:
        """Make the state message, with a fresh nonce.

        Returns:
            The JSON object of `valve/<id>/state`.
        """
        return {**self.says(now_s)._asdict(), "contract": CONTRACT, "fw": FIRMWARE}

    def says(self, now_s: float) -> ValveSays:
        """Say what it is, with a fresh nonce."""
        nonce = self.fresh_nonce(now_s)
        left_s = round(self._shuts_s() - self._now_s, 1) if self._open else 0
        return ValveSays(self._open, left_s, self._dose, nonce, self._boot, *self._order)

    def fresh_nonce(self, now_s: float) -> str:
        """Say what it is to someone who takes in nothing but the nonce."""
        now_s = self.advance(now_s)
        nonce = f"{self._rng.getrandbits(4 * _DIGITS):0{_DIGITS}x}"  # as `_name`
        if len(self._nonces) >= 8:  # more than live at a time; dead ones are refused anyway
            self._nonces = {n: s for n, s in self._nonces.items() if now_s - s <= NONCE_LIFE_S}
        self._nonces[nonce] = self._told_s = now_s
        self._news = False
        return nonce

    def reboot(self, now_s: float) -> None:
        """Start anew: closed, without nonces; the highest (epoch, seq) and the opening are kept."""
        now_s = self.advance(now_s)
        self._shut(now_s)
        self._boot = self._name(8)
        self._booted_s = now_s
        self._dose = ""
        self._news = True

    def hear(
        self, kind: Literal["lease", "close"], payload: bytes, *, retained: bool, now_s: float
    ) -> bool:
        """Take a message from one of its two topics.

        Args:
            kind: which topic.
            payload: as it arrived.
            retained: whether the broker kept it from before; such leases are ignored.
            now_s: time [s].

        Returns:
            Whether the valve did what it was told.
        """
        if kind == "close":
            self.close(now_s)
            return True
        lease = None if retained else _lease_of(payload)
        if lease is None:
            self.advance(now_s)
            return False
        return self.lease(
            open_s=lease["open_s"],
            dose=str(lease["dose"]),
            epoch=int(str(lease["epoch"])),
            seq=int(str(lease["seq"])),
            nonce=str(lease["nonce"]),
            now_s=now_s,
        )

    def _acceptable(self, open_s: int, order: tuple[int, int], nonce: str, now_s: float) -> bool:
        told_s = self._nonces.get(nonce)
        return (
            1 <= open_s <= LEASE_MOST_S
            and order > self._order
            and told_s is not None
            and now_s - told_s <= NONCE_LIFE_S
            and self._below_ceiling(now_s)
        )

    def _below_ceiling(self, now_s: float) -> bool:
        if not self._open and now_s - self._closed_s >= REST_S:
            return True
        return now_s < self._begun_s + CEILING_S

    def _shuts_s(self) -> float:
        return min(self._until_s, self._begun_s + CEILING_S)

    def _shut(self, at_s: float) -> None:
        self._nonces.clear()
        if self._open:
            self._open = False
            self._closed_s = at_s


class MeterNode(_Node):
    """A water meter: tells at once at the first pulse after a rest, every 5 s, then every 60 s.

    Args:
        meter: its name.
        seed: of its boot names.
        now_s: time of its first boot [s].
        litres_per_pulse: [L].
        tells: which of the two totals it sends.
    """

    def __init__(
        self,
        meter: str,
        seed: int,
        now_s: float,
        *,
        litres_per_pulse: float,
        tells: Literal["litres", "pulses"] = "litres",
    ) -> None:
        super().__init__(seed, now_s)
        self.meter = meter
        self._litres_per_pulse = litres_per_pulse
        self._tells = tells
        self._pulses = 0
        self._part = 0.0  # of the next pulse
        self._pulsed_s = NEVER_S
        self._told_s = NEVER_S
        self._news = True

    def add(self, litres: float, now_s: float) -> None:
        """Let water through that ended now.

        Args:
            litres: [L], 0 or more.
            now_s: time [s].
        """
        now_s = self._later(now_s)
        self._part += max(0.0, litres) / self._litres_per_pulse
        whole = math.floor(self._part + 1e-9)
        if whole < 1:
            return
        self._part -= whole
        self._pulses += whole
        if now_s - self._pulsed_s >= PULSES_REST_S:
            self._news = True
        self._pulsed_s = now_s

    def next_due_s(self) -> float:
        """Give the next time at which it tells by itself [s]."""
        if self._news:
            return self._now_s
        resting_s = self._told_s + PULSES_REST_S
        soon_s = self._told_s + PULSES_EVERY_S
        return soon_s if soon_s <= self._pulsed_s + PULSES_REST_S else resting_s

    def has_news(self, now_s: float) -> bool:
        """Tell whether a total is due."""
        return self._later(now_s) >= self.next_due_s()

    def reading(self, now_s: float) -> dict[str, object]:
        """Make the message of `meter/<id>`."""
        now_s = self._later(now_s)
        self._told_s = now_s
        self._news = False
        total: dict[str, object] = {"pulses_total": self._pulses}
        if self._tells == "litres":
            total = {"litres_total": round(self._pulses * self._litres_per_pulse, 6)}
        return {**total, "up_s": round(self.up_s, 3), "boot": self._boot}

    def reboot(self, now_s: float, *, keep_total: bool = True) -> None:
        """Start anew, with the total kept or lost."""
        now_s = self._later(now_s)
        self._boot = self._name(8)
        self._booted_s = now_s
        self._pulsed_s = NEVER_S
        self._pulses = self._pulses if keep_total else 0
        self._news = True


class _Sensor(_Node):
    """A node that tells at a steady pace; its first message comes soon after its boot."""

    def __init__(self, seed: int, now_s: float, every_s: float) -> None:
        super().__init__(seed, now_s)
        self._every_s = every_s
        self._seq = 0
        self._due_s = now_s + self._rng.uniform(0.0, min(10.0, every_s))

    def next_due_s(self) -> float:
        """Give the next time at which it tells [s]."""
        return self._due_s

    def has_news(self, now_s: float) -> bool:
        """Tell whether a message is due."""
        return self._later(now_s) >= self._due_s

    def reboot(self, now_s: float) -> None:
        """Start anew: its sequence begins again."""
        now_s = self._later(now_s)
        self._boot = self._name(8)
        self._booted_s = now_s
        self._seq = 0
        self._due_s = now_s

    def _stamp(self, now_s: float) -> dict[str, object]:
        now_s = self._later(now_s)
        while self._due_s <= now_s:
            self._due_s += self._every_s
        self._seq += 1
        return {"seq": self._seq, "boot": self._boot}


class ProbeNode(_Sensor):
    """One soil-moisture probe: sequence and boot beside the value of the world."""

    def __init__(
        self, probe: str, seed: int, now_s: float, *, every_s: float = SENSE_EVERY_S
    ) -> None:
        super().__init__(seed, now_s, every_s)
        self.probe = probe

    def stamp(self, now_s: float) -> dict[str, object]:
        """Give `seq` and `boot` of the message that goes out now."""
        return self._stamp(now_s)


class MastNode(_Sensor):
    """One weather mast: passes on what the world's instruments say."""

    def __init__(
        self, mast: str, seed: int, now_s: float, *, every_s: float = SENSE_EVERY_S
    ) -> None:
        super().__init__(seed, now_s, every_s)
        self.mast = mast

    def reading(self, weather: dict[str, float], now_s: float) -> dict[str, object]:
        """Make the message of `weather/<id>`."""
        return {**{name: round(value, 3) for name, value in weather.items()}, **self._stamp(now_s)}


def _lease_of(payload: bytes) -> dict[str, object] | None:
    """Read a lease; None where it is none (an empty one only cleans a ghost away)."""
    if not payload or len(payload) > LARGEST_PAYLOAD:
        return None
    try:
        found = json.loads(payload.decode("utf-8"))
    except (ValueError, RecursionError):
        return None
    if not isinstance(found, dict):
        return None
    whole = all(type(found.get(key)) is int for key in ("epoch", "seq"))
    texts = all(isinstance(found.get(key), str) for key in ("dose", "nonce"))
    return found if whole and texts and "open_s" in found else None
