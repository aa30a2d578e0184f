"""A constant of the tool bent for a trial, and put back after it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType


@contextmanager
def bent(module: ModuleType, name: str, value: object) -> Iterator[None]:
    """Give a module's constant another value for as long as the block runs.

    Args:
        module: where it is looked up when it is used.
        name: of the constant.
        value: what it is meanwhile.

    Raises:
        AttributeError: the module has no such constant.
    """
    before = getattr(module, name)
    setattr(module, name, value)
    try:
        yield
    finally:
        setattr(module, name, before)
