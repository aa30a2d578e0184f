"""The command's way in. `close-all` loads nothing but what closing takes.

The service runs it after the daemon's end, within a bounded time, on a board that may be slow:
the whole command takes about five times as long to load (measured in DEVELOPERS.md).
"""

from __future__ import annotations

import sys

CLOSING = "close-all"


def main() -> None:
    """Run the command of the command line."""
    if sys.argv[1:2] == [CLOSING]:
        from api.close_command import close_alone

        close_alone(sys.argv[2:])
    from api.cli import main as whole

    whole()
