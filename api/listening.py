"""Where the page listens: bound first, so that nothing else begins where that cannot be had."""

from __future__ import annotations

import socket

from controller.errors import UsageError


def bound_socket(host: str, port: int) -> socket.socket:
    """A listening place for the page; port 0 takes any that is free.

    Raises:
        UsageError: it cannot be had.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    sock = socket.socket(family, socket.SOCK_STREAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
    except OSError as exc:
        sock.close()
        msg = f"the page cannot listen on {host}:{port}: {exc.strerror or exc}"
        raise UsageError(msg) from exc
    return sock
