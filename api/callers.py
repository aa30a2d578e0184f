"""Connections to the page: so many from one address, so many in all, and none that asks nothing.

The web server bounds what it answers, not what it holds: whoever opens connections and says nothing
would keep everybody from the page and from a stop, and in the end take the files that the broker's
link and the record need. Places of this machine are kept free of callers from elsewhere.
"""

from __future__ import annotations

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

from api.addresses import IPAddress, address_of, network_of, source_of

MOST = 512  # connections at once ...
FAR_MOST = 256  # ... of them from elsewhere than this machine ...
NETWORK_MOST = 128  # ... of them from one network of IPv6 that we sit in ourselves ...
SOURCE_MOST = 64  # ... and from one address there: a browser opens six. Our own choices
ASKS_WITHIN_S = 10.0  # [s] real, for the head of a request, as for its body


class BoundedCaller(H11Protocol):
    """One connection; closed at once where it is one too many, and later where it asks nothing."""

    source = network = ""
    near = False
    _timer: asyncio.TimerHandle | None = None
    _asked: object = None  # its newest request, at the last look

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take it, or let go of it."""
        super().connection_made(transport)
        address = address_of(self.client[0] if self.client else "")
        ours = address_of(self.server[0] if self.server else "")
        self.source, self.network = source_of(address, ours), network_of(address)
        self.near = is_near(address)
        if self._is_too_many():
            transport.abort()
        else:
            self._timer = self.loop.call_later(ASKS_WITHIN_S, self._look)

    def connection_lost(self, exc: Exception | None) -> None:
        """It is over."""
        if self._timer is not None:
            self._timer.cancel()
        super().connection_lost(exc)

    def _is_too_many(self) -> bool:
        """Whether this one, counted with the others, is beyond what may be."""
        if self.near:
            return len(self.connections) > MOST
        far = [one for one in self.connections if isinstance(one, BoundedCaller) and not one.near]
        beside = sum(one.network == self.network for one in far)
        same = sum(one.source == self.source for one in far)
        return len(far) > FAR_MOST or beside > NETWORK_MOST or same > SOURCE_MOST

    def _look(self) -> None:
        """Close it where no request began since the last look and none is being answered."""
        newest: RequestResponseCycle | None = self.cycle  # None before the first, whatever is said
        rests = newest is None or newest.response_complete
        if rests and self._asked is newest:
            self.transport.close()
            return
        self._asked = newest
        self._timer = self.loop.call_later(ASKS_WITHIN_S, self._look)


def is_near(address: IPAddress | None) -> bool:
    """Whether the other end is on this machine."""
    return address is not None and address.is_loopback
