"""Example gardens that come with the package, and the way to find one by name or path."""

from __future__ import annotations

import difflib
from pathlib import Path

from controller.errors import UsageError

HERE = Path(__file__).parent
FAULTS = HERE / "faults.toml"  # a fault script, no garden


def example_names() -> list[str]:
    """Name the gardens that come with the package."""
    return sorted(path.stem for path in HERE.glob("*.toml") if path != FAULTS)


def find_garden(name_or_path: str) -> Path:
    """Find a garden file: a path first, else an example by its name.

    Args:
        name_or_path: a path, or a name such as `hollin-lane`.

    Returns:
        The path. Where it looks like a path it need not exist; reading it says what is wrong.

    Raises:
        UsageError: neither a file nor an example has this name.
    """
    path = Path(name_or_path)
    known = example_names()
    if "\0" not in name_or_path and path.is_file():
        return path
    if name_or_path in known:
        return HERE / f"{name_or_path}.toml"
    if "/" in name_or_path or name_or_path.endswith(".toml"):
        return path
    near = difflib.get_close_matches(name_or_path, known, n=1)
    hint = f"did you mean {near[0]}?" if near else f"examples are {', '.join(known)}"
    msg = f"{name_or_path[:80]!r}: there is no such file and no example of this name; {hint}"
    raise UsageError(msg)
