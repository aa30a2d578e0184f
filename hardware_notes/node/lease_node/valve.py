"""One valve that is open only on a fresh lease: the node's side of the wire's contract.

Pure: no pin, no clock, no network. Time comes with each call as uptime [ms], a whole number, since
small ports have floats of seven digits only. What it does where the contract leaves a choice is the
dry one: a valve rests for 60 s after each boot, for it cannot know how long it was open before; it
remembers its last eight nonces only; it refuses a dose whose name the wire does not allow.
"""

from lease_node.strict_json import parse

CONTRACT = 1
FIRMWARE = "lease-node 1"
LEASE_MOST_S = 120
NONCE_LIFE_MS = 45_000  # from the state message that told it
CEILING_MS = 5_700_000  # of unbroken opening, whatever the node is told
REST_MS = 60_000  # closed; only this breaks an opening
STATE_EVERY_MS = 20_000
LARGEST_PAYLOAD = 2048  # [bytes]
NONCES_MOST = 8
NONCE_DIGITS = 12

_ID_MOST = 64
_ID_SIGNS = "._:/+=-"


class Valve:
    """One valve.

    Args:
        name: of the valve.
        boot: name of this boot.
        random_hex: gives so many random hex digits.
        now_ms: uptime [ms].
        order: highest (epoch, seq) accepted before this boot; (0, 0) where none was kept.
    """

    def __init__(
        self, name: str, boot: str, random_hex: object, now_ms: int, order: tuple = (0, 0)
    ) -> None:
        self.name = name
        self.order = order
        self.is_open = False
        self._boot = boot
        self._random_hex = random_hex
        self._dose = ""
        self._nonces = []  # of (nonce, told at)
        self._now_ms = now_ms
        self._until_ms = now_ms  # end of the lease
        self._begun_ms = now_ms - CEILING_MS  # as if a whole opening lay behind it
        self._shut_ms = now_ms
        self._told_ms = now_ms
        self._news = True

    def hear(self, kind: str, payload: bytes, retained: bool, now_ms: int) -> bool:
        """Take a message of one of its two topics.

        Args:
            kind: "lease" or "close".
            payload: as it arrived.
            retained: whether the broker kept it from before; such leases are ignored.
            now_ms: uptime [ms].

        Returns:
            Whether the valve did what it was told.
        """
        if kind == "close":
            self.close(now_ms)
            return True
        now_ms = self.advance(now_ms)
        lease = None if retained else read_lease(payload)
        return lease is not None and self._obey(lease, now_ms)

    def close(self, now_ms: int) -> None:
        """Close now; always obeyed, and every nonce given out before is burnt."""
        now_ms = self.advance(now_ms)
        self._shut(now_ms)
        self._news = True

    def advance(self, now_ms: int) -> int:
        """Let time pass: lease and ceiling end at their instant. The time that counts [ms]."""
        if now_ms > self._now_ms:
            self._now_ms = now_ms
        if self.is_open and self._now_ms >= self._shuts_ms():
            self._shut(self._shuts_ms())
            self._news = True
        return self._now_ms

    def left_ms(self, now_ms: int) -> int:
        """Tell how long it stays open if nothing more comes [ms]; 0 where it is closed."""
        now_ms = self.advance(now_ms)
        return self._shuts_ms() - now_ms if self.is_open else 0

    def next_due_ms(self) -> int:
        """Give the next uptime at which something happens by itself [ms]."""
        if self._news:
            return self._now_ms
        tell_ms = self._told_ms + STATE_EVERY_MS
        return min(tell_ms, self._shuts_ms()) if self.is_open else tell_ms

    def has_news(self, now_ms: int) -> bool:
        """Tell whether a state message is due: a change, a lease, a close, or 20 s."""
        now_ms = self.advance(now_ms)
        return self._news or now_ms >= self._told_ms + STATE_EVERY_MS

    def state(self, now_ms: int) -> bytes:
        """Make the state message, with a fresh nonce."""
        left_ms = self.left_ms(now_ms)
        nonce = self._fresh_nonce()
        left = f"{left_ms // 1000}.{left_ms // 100 % 10}" if self.is_open else "0"
        text = (
            f'{{"open": {"true" if self.is_open else "false"}, "left_s": {left}, '
            f'"dose": "{self._dose}", "nonce": "{nonce}", "boot": "{self._boot}", '
            f'"epoch": {self.order[0]}, "seq": {self.order[1]}, '
            f'"contract": {CONTRACT}, "fw": "{FIRMWARE}"}}'
        )
        return text.encode()

    def _fresh_nonce(self) -> str:
        nonce = self._random_hex(NONCE_DIGITS)
        self._nonces.append((nonce, self._now_ms))
        if len(self._nonces) > NONCES_MOST:
            self._nonces.pop(0)
        self._told_ms = self._now_ms
        self._news = False
        return nonce

    def _obey(self, lease: tuple, now_ms: int) -> bool:
        open_s, order, nonce, dose = lease
        self._news = True
        rested = not self.is_open and now_ms - self._shut_ms >= REST_MS
        below_ceiling = rested or now_ms < self._begun_ms + CEILING_MS
        if not (order > self.order and self._knows(nonce, now_ms) and below_ceiling):
            return False
        if rested:
            self._begun_ms = now_ms
        self.order = order
        self._dose = dose
        self._until_ms = now_ms + 1000 * open_s
        self.is_open = True
        return True

    def _knows(self, nonce: str, now_ms: int) -> bool:
        for known, told_ms in self._nonces:
            if known == nonce:
                return now_ms - told_ms <= NONCE_LIFE_MS
        return False

    def _shuts_ms(self) -> int:
        return min(self._until_ms, self._begun_ms + CEILING_MS)

    def _shut(self, at_ms: int) -> None:
        self._nonces = []
        if self.is_open:
            self.is_open = False
            self._shut_ms = at_ms


def read_lease(payload: bytes) -> object:
    """Read a lease: (open_s, (epoch, seq), nonce, dose), or None where it is none.

    A lease of more than 120 s, or of none, still counts as heard, so that the node tells its state;
    it is refused like one without order.
    """
    if not payload or len(payload) > LARGEST_PAYLOAD:
        return None
    try:
        told = parse(payload)
    except (ValueError, RuntimeError, MemoryError):
        return None
    if not isinstance(told, dict) or "open_s" not in told:
        return None
    epoch, seq, open_s = told.get("epoch"), told.get("seq"), told["open_s"]
    nonce, dose = told.get("nonce"), told.get("dose")
    if not (_is_whole(epoch) and _is_whole(seq) and isinstance(nonce, str) and _is_id(dose)):
        return None
    if not (_is_whole(open_s) and 1 <= open_s <= LEASE_MOST_S):
        return 0, (-1, -1), nonce, dose
    return open_s, (epoch, seq), nonce, dose


def _is_whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_id(value: object) -> bool:
    """Whether it is a name as the wire allows it: ASCII, 64 signs at most, empty for none."""
    if not isinstance(value, str) or len(value) > _ID_MOST:
        return False
    for at, sign in enumerate(value):
        plain = "0" <= sign <= "9" or "A" <= sign <= "Z" or "a" <= sign <= "z"
        if not (plain or (at > 0 and sign in _ID_SIGNS)):
            return False
    return True
