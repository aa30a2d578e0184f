"""How often one address may try: wrong tokens, and orders. Stopping is outside of both.

Real time; every table has a stated size and drops its oldest row.
"""

from __future__ import annotations

import logging
from collections import OrderedDict, deque
from collections.abc import Callable
from typing import Any

from api.problems import ProblemError

log = logging.getLogger(__name__)

WRONG_MOST = 5  # wrong tokens ...
WRONG_WITHIN_S = 60.0  # ... in this time ...
SHUT_S = 60.0  # ... shut an address out for this long
ADDRESSES_MOST = 1024  # remembered
ORDERS_MOST = 600  # from one address at once: our own choice, far above what fingers can do ...
ORDERS_A_S = 1.0  # ... and as many again each second


class WrongTries:
    """Wrong tokens, codes and the like by address; five within a minute shut it out for one.

    Args:
        monotonic: seconds of a real clock that never jumps.
    """

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self._wrong: OrderedDict[str, deque[float]] = OrderedDict()
        self._shut: OrderedDict[str, float] = OrderedDict()

    def __len__(self) -> int:
        return len(self._wrong)

    def check(self, source: str) -> None:
        """Refuse an address that is shut out.

        Raises:
            ProblemError: 429.
        """
        until_s = self._shut.get(source)
        if until_s is None:
            return
        left_s = until_s - self._monotonic()
        if left_s > 0.0:
            raise ProblemError(
                429,
                "Five wrong tokens within a minute; wait a minute.",
                headers={"Retry-After": str(int(left_s) + 1)},
            )
        del self._shut[source]

    def count(self, source: str) -> None:
        """One more wrong try of this address."""
        now_s = self._monotonic()
        log.warning("a wrong token, code or cookie from %s", source)
        times = self._wrong.setdefault(source, deque(maxlen=WRONG_MOST))
        self._wrong.move_to_end(source)
        times.append(now_s)
        if len(times) == WRONG_MOST and now_s - times[0] <= WRONG_WITHIN_S:
            self._shut[source] = now_s + SHUT_S
            del self._wrong[source]
            log.warning("%s is shut out for %.0f s", source, SHUT_S)
        trim(self._wrong, ADDRESSES_MOST)
        trim(self._shut, ADDRESSES_MOST)


class Pace:
    """Orders by address: so many at once, then one a second.

    Args:
        monotonic: seconds of a real clock that never jumps.
    """

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()  # orders, at [s]

    def spend(self, source: str) -> None:
        """Let one order of this address pass.

        Raises:
            ProblemError: 429.
        """
        now_s = self._monotonic()
        left, at_s = self._left.pop(source, (float(ORDERS_MOST), now_s))
        left = min(float(ORDERS_MOST), left + ORDERS_A_S * max(0.0, now_s - at_s))
        self._left[source] = (left - 1.0 if left >= 1.0 else left, now_s)
        trim(self._left, ADDRESSES_MOST)
        if not left >= 1.0:
            raise ProblemError(
                429, "Too many orders from one address.", headers={"Retry-After": "1"}
            )


def trim(table: OrderedDict[Any, Any], most: int) -> None:
    """Drop the oldest rows beyond so many."""
    while len(table) > most:
        table.popitem(last=False)
