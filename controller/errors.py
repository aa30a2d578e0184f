"""The tree of errors.

    ThirstlineError
    ├── GardenError      the garden file is wrong; carries one line a fault
    ├── PayloadError     bytes from the wire that are no reading
    ├── LinkError        the broker is out of reach
    ├── StoreError       the data folder cannot be read or written
    │   ├── LockedError  another process holds the data folder
    │   └── NewerError   a newer version of the program wrote it
    ├── SeasonError      a season's weather cannot be used
    ├── UnreachableError no daemon answers for a data folder
    ├── RefusedError     the running daemon says no
    └── UsageError       a command cannot be carried out as given
        └── WrongUseError   a word of the command line or the environment is no such word

Expected trouble (a stale probe, no flow) is data - a flag, a reason, an alert - and not an error.
"""

from __future__ import annotations


class ThirstlineError(Exception):
    """Base of all errors that this project raises on purpose."""


class GardenError(ThirstlineError):
    """The garden file is refused; `faults` has one sentence for each thing wrong.

    Args:
        faults: sentences, each saying file, key, found and allowed.
    """

    def __init__(self, faults: list[str]) -> None:
        self.faults = faults
        super().__init__("\n".join(faults))


class PayloadError(ThirstlineError):
    """Bytes that arrived on a topic are no message of the kind expected there."""


class LinkError(ThirstlineError):
    """The broker cannot be reached or refuses us."""


class StoreError(ThirstlineError):
    """The data folder cannot be read or written."""


class LockedError(StoreError):
    """Another process holds the lock of the data folder."""


class NewerError(StoreError):
    """A newer version of the program wrote the record; the message says what to do."""


class SeasonError(ThirstlineError):
    """A season's weather cannot be read or is not usable."""


class UnreachableError(ThirstlineError):
    """No daemon answers for this data folder."""


class RefusedError(ThirstlineError):
    """The running daemon says no."""


class UsageError(ThirstlineError):
    """A command cannot be carried out as given; the message says what to do instead."""


class WrongUseError(UsageError):
    """A word of the command line or of the environment is malformed or names nothing.

    Args:
        message: what, where, found, allowed.
        then: what to type instead, in words after the program's name; empty: the command's help.
    """

    def __init__(self, message: str, then: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.then = then
