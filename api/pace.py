"""How often one caller may try: wrong tokens, and orders. Stopping is outside of both.

Real time; every table has a stated size and drops its oldest row.
"""

from __future__ import annotations

import logging
from collections import OrderedDict, deque
from collections.abc import Callable
from typing import Any

from api.problems import ProblemError

log = logging.getLogger(__name__)

WRONG_MOST = 5  # wrong tokens or codes ...
NETWORK_WRONG_MOST = 20  # ... or so many tokens from all addresses of a network that we sit in ...
WRONG_WITHIN_S = 60.0  # ... in this time ...
SHUT_S = 60.0  # ... shut an address out for this long
ADDRESSES_MOST = 1024  # remembered
ORDERS_MOST = 600  # from one address at once: our own choice, far above what fingers can do ...
ORDERS_A_S = 1.0  # ... and as many again each second


class WrongTries:
    """Wrong tokens, codes and the like by address; so many within a minute shut it out for one.

    Args:
        monotonic: seconds of a real clock that never jumps.
        most: how many.
    """

    def __init__(self, monotonic: Callable[[], float], most: int = WRONG_MOST) -> None:
        self._monotonic = monotonic
        self._most = most
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
                "Too many wrong tokens or codes within a minute; wait a minute.",
                headers={"Retry-After": str(int(left_s) + 1)},
            )
        del self._shut[source]

    def count(self, source: str, now_s: float) -> None:
        """One more wrong try of this address, at this instant."""
        times = self._wrong.setdefault(source, deque(maxlen=self._most))
        self._wrong.move_to_end(source)
        times.append(now_s)
        if len(times) == self._most and now_s - times[0] <= WRONG_WITHIN_S:
            self._shut[source] = now_s + SHUT_S
            del self._wrong[source]
            log.warning("%s is shut out for %.0f s", source, SHUT_S)
        trim(self._wrong, ADDRESSES_MOST)
        trim(self._shut, ADDRESSES_MOST)


class Guesses:
    """Wrong tokens and codes: by caller, and for all callers of a network that is everybody's.

    Codes of a network are bounded as those of one caller: many addresses are no more guesses.

    Args:
        monotonic: seconds of a real clock that never jumps.
    """

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self._by_source = WrongTries(monotonic)
        self._by_network = WrongTries(monotonic, NETWORK_WRONG_MOST)
        self._codes_by_network = WrongTries(monotonic)

    def __len__(self) -> int:
        return len(self._by_source)

    def check_token(self, source: str, network: str) -> None:
        """Refuse the token of a caller that is shut out.

        Args:
            source: who is counted as one.
            network: where it is.

        Raises:
            ProblemError: 429.
        """
        self._by_source.check(source)
        self._by_network.check(network)

    def check_code(self, source: str, network: str) -> None:
        """Refuse the code of a caller that is shut out.

        Raises:
            ProblemError: 429.
        """
        self._by_source.check(source)
        self._codes_by_network.check(network)

    def count_token(self, source: str, network: str) -> None:
        """One more wrong token."""
        self._count(source, network, self._monotonic())

    def count_code(self, source: str, network: str) -> None:
        """One more wrong code."""
        now_s = self._monotonic()
        self._count(source, network, now_s)
        self._codes_by_network.count(network, now_s)

    def _count(self, source: str, network: str, now_s: float) -> None:
        log.warning("a wrong token or code from %s", source)
        self._by_source.count(source, now_s)
        self._by_network.count(network, now_s)


class Pace:
    """Orders by sender: so many at once, then one a second.

    Args:
        monotonic: seconds of a real clock that never jumps.
    """

    def __init__(self, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()  # orders, at [s]

    def spend(self, source: str) -> None:
        """Let one order of this sender pass.

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
                429, "Too many orders from one sender.", headers={"Retry-After": "1"}
            )


def trim(table: OrderedDict[Any, Any], most: int) -> None:
    """Drop the oldest rows beyond so many."""
    while len(table) > most:
        table.popitem(last=False)
