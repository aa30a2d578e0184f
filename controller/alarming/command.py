"""Alarms by a command of the grower's own: no shell, one at a time, 20 s, its output thrown away.

The message comes as JSON on standard input; subject and text also in `THIRSTLINE_SUBJECT` and
`THIRSTLINE_TEXT`. Nothing of a message ever becomes an argument.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
from collections.abc import Mapping, Sequence
from contextlib import suppress

from controller.alarming.letters import Message, message_json
from controller.alarming.ways import DELIVERED, Delivery
from controller.garden import Garden

MOST_S = 20.0  # [s] real
END_S = 2.0  # [s] real, for a killed command to be gone
TEXT_MOST = 4000  # [characters] in the environment
KEPT = ("PATH", "HOME", "LANG", "LC_ALL", "TZ", "USER", "LOGNAME")  # of our own environment


class CommandWay:
    """The way by a command.

    Args:
        argv: the program and its arguments.
        garden: whose.
        environ: our own environment.
    """

    name = "command"

    def __init__(self, argv: Sequence[str], garden: Garden, environ: Mapping[str, str]) -> None:
        self._argv = list(argv)
        self._garden = garden
        self._environ = {name: environ[name] for name in KEPT if name in environ}

    def send(self, message: Message) -> Delivery:
        """Run the command and wait for it; see `Way`."""
        told = json.dumps(message_json(self._garden, message)).encode()
        try:
            process = subprocess.Popen(  # noqa: S603 - the grower's own words, and no shell
                self._argv,
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env=self._environ | _told(message),
                cwd="/",
                start_new_session=True,
            )
        except FileNotFoundError:
            return Delivery(out=False, cause="there is no such program", lasting=True)
        except (OSError, ValueError):
            return Delivery(out=False, cause="the program cannot be started", lasting=True)
        try:
            process.communicate(told, timeout=MOST_S)
        except subprocess.TimeoutExpired:
            return Delivery(out=False, cause=f"the program did not end within {MOST_S:.0f} s")
        finally:
            _end(process)
        if process.returncode == 0:
            return DELIVERED
        return Delivery(out=False, cause=f"the program ended with status {process.returncode}")


def _told(message: Message) -> dict[str, str]:
    plain = {"THIRSTLINE_SUBJECT": message.subject, "THIRSTLINE_TEXT": message.text[:TEXT_MOST]}
    return {name: text.replace("\0", " ") for name, text in plain.items()}


def _end(process: subprocess.Popen[bytes]) -> None:
    """End the command with all that it started, where anything of it is left."""
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)
    if process.stdin is not None:
        with suppress(OSError):
            process.stdin.close()
    with suppress(subprocess.TimeoutExpired):
        process.wait(END_S)
