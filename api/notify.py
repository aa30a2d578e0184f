"""A word to the service manager: ready, alive, stopping; nothing where none listens.

The protocol is the manager's datagram socket named in `NOTIFY_SOCKET` (sd_notify(3)).
"""

from __future__ import annotations

import logging
import os
import socket

log = logging.getLogger(__name__)


def notify(words: str) -> None:
    """Tell the service manager.

    Args:
        words: `READY=1`, `WATCHDOG=1`, `STOPPING=1`.
    """
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address.startswith(("/", "@")):
        return
    if address.startswith("@"):  # a name of Linux's own, without a file
        address = "\0" + address[1:]
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
            sock.setblocking(False)  # the engine waits for nobody
            sock.sendto(words.encode("ascii"), address)
    except OSError as exc:
        log.warning("the service manager does not hear: %s", exc)
