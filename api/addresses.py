"""Whence a call comes and under which names we are known: hosts, origins, addresses.

Of IPv6 a network of 64 bits counts as one caller, since one host may own all of it. Where we sit in
it ourselves, and on the link (fe80::), it is everybody's of the house: there each address is its
own caller, and what all of them do together has a bound of its own.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable
from urllib.parse import urlsplit

from fastapi import Request

LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1")
DEFAULT_PORTS = {"http": 80, "https": 443}
NETWORK_BITS = 64
IPAddress = ipaddress.IPv4Address | ipaddress.IPv6Address


def on_loopback(request: Request) -> bool:
    """Whether the other end is on this machine, and no proxy stands in for somebody else."""
    if any(name in request.headers for name in ("forwarded", "x-forwarded-for", "via")):
        return False
    address = _far_end(request)
    return address is not None and address.is_loopback


def caller_of(request: Request) -> tuple[str, str]:
    """Who is counted as one, and the network that is counted with it."""
    address, server = _far_end(request), request.scope.get("server")
    ours = address_of(server[0]) if server else None
    return source_of(address, ours), network_of(address)


def _far_end(request: Request) -> IPAddress | None:
    return address_of(request.client.host if request.client else "")


def address_of(host: str) -> IPAddress | None:
    """The address of one end, an IPv4 one in an IPv6 one's clothes as what it is."""
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return None
    mapped = getattr(address, "ipv4_mapped", None)
    return mapped if mapped is not None else address


def source_of(address: IPAddress | None, ours: IPAddress | None = None) -> str:
    """Who is counted as one: an address; of IPv6 the network, unless we sit in it ourselves.

    Args:
        address: of the other end.
        ours: of our own end of the same connection.
    """
    network = network_of(address)
    shared = address is not None and (address.is_link_local or network == network_of(ours))
    return str(address) if shared else network


def network_of(address: IPAddress | None) -> str:
    """The network of an IPv6 address; any other address as it is."""
    if isinstance(address, ipaddress.IPv6Address) and not address.is_loopback:
        return str(ipaddress.ip_network((address, NETWORK_BITS), strict=False))
    return str(address)


def split_host(text: str) -> tuple[str, int | None] | None:
    """Host name and port of a `Host` header or a listed name.

    Args:
        text: `name`, `name:port`, `[v6]:port`, or a bare IPv6 address.

    Returns:
        The name in lower case without brackets and trailing dot, and the port if one stands
        there; None where it is no host.
    """
    if text.count(":") > 1 and not text.startswith("["):
        text = f"[{text}]"
    try:
        parts = urlsplit(f"//{text}")
        name, port = parts.hostname or "", parts.port
    except ValueError:
        return None
    if not name or parts.path or parts.query or parts.fragment or "@" in text:
        return None
    return name.removesuffix("."), port


class Names:
    """The host names and origins under which the page is known.

    Args:
        names: listed names and addresses, besides those of loopback.
    """

    def __init__(self, names: Iterable[str]) -> None:
        known = [split for name in (*LOOPBACK_NAMES, *names) if (split := split_host(name))]
        self._hosts = frozenset(name for name, _ in known)
        self._ports = frozenset(port for _, port in known if port is not None)

    def knows_host(self, header: str) -> bool:
        """Whether this `Host` header names us."""
        split = split_host(header)
        return split is not None and split[0] in self._hosts

    def knows_origin(self, origin: str, port: int | None) -> bool:
        """Whether this `Origin` is one of ours.

        Args:
            origin: the header.
            port: the port that we listen on.
        """
        scheme, _, rest = origin.partition("://")
        split = split_host(rest)
        if scheme not in DEFAULT_PORTS or split is None or split[0] not in self._hosts:
            return False
        default = DEFAULT_PORTS[scheme]
        asked = default if split[1] is None else split[1]
        return asked in {port, default} | self._ports
