"""A water meter that gives pulses: a counter for the interrupt, and when to tell the total.

Totals are pulses, whole numbers: litres a pulse stand in the garden file. The count begins anew
with each boot, which the message names.
"""

PULSES_EVERY_MS = 5_000  # between totals while pulses come
PULSES_REST_MS = 60_000  # without a pulse, then as often as this
DEBOUNCE_MS = 20  # a reed contact bounces for a few ms; common practice, no source


class PulseCounter:
    """Counts edges, called from the interrupt of the pin: whole numbers only, nothing is made.

    Args:
        period_ticks: where the tick counter wraps.
        debounce_ms: an edge this soon after the last counted one is a bounce [ms].
    """

    def __init__(self, period_ticks: int, debounce_ms: int = DEBOUNCE_MS) -> None:
        self.pulses = 0
        self._period_ticks = period_ticks
        self._debounce_ms = debounce_ms
        self._last_ticks = -1

    def edge(self, ticks: int) -> None:
        """Take one edge."""
        since = (ticks - self._last_ticks) % self._period_ticks
        if self._last_ticks < 0 or since >= self._debounce_ms:
            self._last_ticks = ticks
            self.pulses += 1


class Meter:
    """When to tell the total.

    Args:
        name: of the meter.
        boot: name of this boot.
        now_ms: uptime [ms].
    """

    def __init__(self, name: str, boot: str, now_ms: int) -> None:
        self.name = name
        self._boot = boot
        self._pulses = 0
        self._pulsed_ms = now_ms - PULSES_REST_MS
        self._told_ms = now_ms
        self._news = True

    def count(self, pulses: int, now_ms: int) -> None:
        """Take over the counter's total."""
        if pulses == self._pulses:
            return
        self._pulses = pulses
        if now_ms - self._pulsed_ms >= PULSES_REST_MS:
            self._news = True
        self._pulsed_ms = now_ms

    def next_due_ms(self, now_ms: int) -> int:
        """Give the next uptime at which it tells by itself [ms]."""
        if self._news:
            return now_ms
        soon_ms = self._told_ms + PULSES_EVERY_MS
        resting = soon_ms > self._pulsed_ms + PULSES_REST_MS
        return self._told_ms + PULSES_REST_MS if resting else soon_ms

    def has_news(self, now_ms: int) -> bool:
        """Tell whether a total is due."""
        return now_ms >= self.next_due_ms(now_ms)

    def reading(self, now_ms: int) -> bytes:
        """Make the message of `meter/<id>`."""
        self._told_ms = now_ms
        self._news = False
        text = (
            f'{{"pulses_total": {self._pulses}, "up_s": {now_ms // 1000}.{now_ms % 1000:03d}, '
            f'"boot": "{self._boot}"}}'
        )
        return text.encode()
