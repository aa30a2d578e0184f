"""Reads a TOML file for people: every fault as one sentence with file, line, key, found, allowed.

It knows nothing of gardens: the model comes as an argument. The line is where the key stands, or
its table where the key itself is not in the file, found by scanning the text once more.
"""

from __future__ import annotations

import difflib
import re
import stat
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails, PydanticCustomError

from controller.errors import GardenError
from controller.garden_rules import FAULT, Rule, listed, shown

LARGEST_BYTES = 1 << 20  # [bytes] 1 MiB
MOST_FAULTS = 40  # [sentences] before the rest is only counted
MOST_KEYS_NAMED = 7  # [keys] named where no known key is near
BYTE_ORDER_MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")

Place = tuple[int | str, ...]

_PART = r"""(?:[A-Za-z0-9_-]+|"(?:\\.|[^"\\])*"|'[^']*')"""
_KEYS = rf"{_PART}(?:[ \t]*\.[ \t]*{_PART})*"
_HEADER = re.compile(rf"[ \t]*\[{{1,2}}[ \t]*({_KEYS})[ \t]*\]{{1,2}}")
_KEY = re.compile(rf"[ \t]*({_KEYS})[ \t]*=")
_OPAQUE = re.compile(
    r'"""(?:\\.|[^\\])*?"""|\'\'\'.*?\'\'\'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*', re.DOTALL
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A file that is TOML: its shown name, its data, and the line of each key and table."""

    name: str
    data: dict[str, Any]
    lines: Mapping[Place, int]

    def where(self, place: Place) -> str:
        """Say file and line of a place, or of the nearest table above it."""
        for length in range(len(place), 0, -1):
            line = self.lines.get(place[:length])
            if line is not None:
                return f"{self.name} line {line}"
        return self.name


def file_name(path: Path) -> str:
    """The file's name, safe to print."""
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in path.name) or "."


def read_document(path: Path) -> Document:
    """Read a TOML file of at most 1 MiB.

    Raises:
        GardenError: it is missing, unreadable, too large, no text or no TOML.
    """
    name = file_name(path)
    raw = _bytes_of(path, name)
    text = _text_of(raw, name)
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise GardenError([f"{name}: lists or tables are nested too deeply"]) from None
    except ValueError as exc:  # TOMLDecodeError, or a number with too many digits
        raise GardenError([_syntax(name, text, str(exc))]) from None
    return Document(name=name, data=data, lines=key_lines(text))


def _bytes_of(path: Path, name: str) -> bytes:
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise GardenError([f"{name}: is a folder; a garden file is needed"])
        if not stat.S_ISREG(status.st_mode):
            raise GardenError([f"{name}: is no ordinary file"])
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise GardenError([f"{name}: there is no such file"]) from None
    except (OSError, ValueError) as exc:  # ValueError: a name with a NUL in it
        cause = exc.strerror if isinstance(exc, OSError) else "its name holds a NUL"
        raise GardenError([f"{name}: cannot be read: {cause}"]) from None
    if len(raw) > LARGEST_BYTES:
        raise GardenError([f"{name}: is larger than the {LARGEST_BYTES} bytes allowed"])
    return raw


def _text_of(raw: bytes, name: str) -> str:
    if not raw.strip():
        raise GardenError([f"{name}: is empty"])
    if raw.startswith(BYTE_ORDER_MARKS):
        raise GardenError(
            [f"{name} line 1: begins with a byte-order mark; save it as UTF-8 without one"]
        )
    nul = raw.find(b"\0")
    if nul >= 0:
        raise GardenError([f"{name} line {_line_at(raw, nul)}: holds a NUL byte; it is no text"])
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as exc:
        line = _line_at(raw, exc.start)
        byte = raw[exc.start]
        raise GardenError(
            [f"{name} line {line}: byte 0x{byte:02x} is not UTF-8; save the file as UTF-8"]
        ) from None


def _line_at(raw: bytes, offset: int) -> int:
    return raw.count(b"\n", 0, offset) + 1


def _syntax(name: str, text: str, message: str) -> str:
    at = re.search(r" \(at line ([0-9]+), column ([0-9]+)\)$", message)
    if at is not None:
        said = shown_message(message[: at.start()])
        return f"{name} line {at[1]}, column {at[2]}: is no TOML: {said}"
    last = text.count("\n") + 1
    if message.endswith("(at end of document)"):
        said = shown_message(message.removesuffix("(at end of document)").strip())
        return f"{name} line {last}: is no TOML: {said} before its end"
    return f"{name}: is no TOML: {shown_message(message)}"


def shown_message(message: str) -> str:
    """Shorten a foreign message and escape what does not print."""
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in message[:120])


def key_lines(text: str) -> dict[Place, int]:
    """Find the line, counted from 1, of every key and table of a text that is valid TOML.

    Keys inside inline tables are not told apart: they stand where their table stands.
    """
    found: dict[Place, int] = {}
    table: Place = ()
    depth = 0
    plain = _OPAQUE.sub(_blanked, text)
    for number, line in enumerate(plain.split("\n"), start=1):
        if depth == 0 and (header := _HEADER.match(line)):
            table = _split(header[1])
            _remember(found, table, number)
            continue
        if depth == 0 and (key := _KEY.match(line)):
            _remember(found, table + _split(key[1]), number)
            line = line[key.end() :]  # a quoted key may hold brackets
        bare = _OPAQUE.sub("", line)
        depth += sum(map(bare.count, "[{")) - sum(map(bare.count, "]}"))
    return found


def _blanked(match: re.Match[str]) -> str:
    """Keep one-line strings, since keys may be quoted; of the rest keep the line ends."""
    whole = match[0]
    if whole.startswith(('"""', "'''", "#")):
        return "0" + "\n" * whole.count("\n") if whole[0] != "#" else ""
    return whole


def _split(keys: str) -> Place:
    return tuple(_unquoted(part) for part in re.findall(_PART, keys))


def _unquoted(part: str) -> str:
    if part.startswith('"'):
        return str(tomllib.loads(f"key = {part}")["key"])
    return part.strip("'")


def _remember(found: dict[Place, int], place: Place, number: int) -> None:
    for length in range(1, len(place) + 1):
        found.setdefault(place[:length], number)


def dotted(place: Place) -> str:
    """Write a place as `probes.south-20.calibration[0][1]`."""
    words = ""
    for step in place:
        if isinstance(step, int):
            words += f"[{step}]"
        elif step != "[key]":  # pydantic's mark of a faulty name; the name stands before it
            plain = re.fullmatch(r"[A-Za-z0-9_-]{1,60}", step) is not None
            words += f".{step if plain else shown(step)}"
    return words.lstrip(".")


def sentence(document: Document, place: Place, predicate: str) -> str:
    """Put file, line, key and predicate into one sentence."""
    return f"{document.where(place)}: {dotted(place)}: {predicate}"


def refuse(document: Document, faults: Sequence[tuple[Place, str]]) -> GardenError:
    """Make the error that tells these faults, by line, and counts what is too much to tell."""
    ordered = sorted(faults, key=lambda found: _line_of(document, found[0]))
    told = [sentence(document, place, predicate) for place, predicate in ordered[:MOST_FAULTS]]
    if len(ordered) > MOST_FAULTS:
        told.append(f"{document.name}: and {len(ordered) - MOST_FAULTS} faults more")
    return GardenError(told)


def _line_of(document: Document, place: Place) -> int:
    told = re.search(r" line ([0-9]+)$", document.where(place))
    return int(told[1]) if told else 0


def crossed(faults: Sequence[tuple[Place, str]]) -> PydanticCustomError:
    """Make the one error of a validator that found several faults in several places."""
    return PydanticCustomError(
        "garden_cross", "{count} faults", {"count": len(faults), "faults": faults}
    )


def predicates(model: type[BaseModel], errors: Sequence[ErrorDetails]) -> list[tuple[Place, str]]:
    """Turn what pydantic found into places and predicates in plain words."""
    found: list[tuple[Place, str]] = []
    for error in errors:
        several = error.get("ctx", {}).get("faults")
        if several is not None:
            found.extend(several)
        else:
            found.append((tuple(error["loc"]), _predicate(model, error)))
    return found


def _predicate(model: type[BaseModel], error: ErrorDetails) -> str:
    place = tuple(error["loc"])
    words: dict[str, Callable[[], str]] = {
        FAULT: lambda: str(error["ctx"]["predicate"]),
        "missing": lambda: _missing(model, place),
        "extra_forbidden": lambda: _unknown(str(place[-1]), list(_fields(model, place[:-1]))),
        "model_type": lambda: f"{shown(error['input'])} is no table",
    }
    say = words.get(error["type"])
    return say() if say else f"{shown(error['input'])} is not allowed: {error['msg']}"


def _unknown(key: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(key[:60], known, n=1, cutoff=0.5)
    if near:
        return f"there is no such key; the nearest is {near[0]}"
    some = listed(known) if len(known) <= MOST_KEYS_NAMED else ", ".join(known[:MOST_KEYS_NAMED])
    others = "" if len(known) <= MOST_KEYS_NAMED else " and others"
    return f"there is no such key; known are {some}{others}"


def _missing(model: type[BaseModel], place: Place) -> str:
    field = _fields(model, place[:-1]).get(str(place[-1]))
    rules = field.metadata if field is not None else []
    allowed = [rule.allowed for rule in rules if isinstance(rule, Rule)]
    return f"is missing; needed is {allowed[0]}" if allowed else "is missing"


def _fields(model: type[BaseModel], place: Place) -> dict[str, FieldInfo]:
    """The keys that the table at a place may have."""
    here: type[BaseModel] | None = model
    steps = iter(place)
    for step in steps:
        field = here.model_fields.get(str(step)) if here is not None else None
        here = _inner(field.annotation) if field is not None else None
        if field is not None and get_origin(field.annotation) is Mapping:
            next(steps, None)  # the name that the grower gave
    if here is None:
        return {}
    return {field.alias or name: field for name, field in here.model_fields.items()}


def _inner(annotation: object) -> type[BaseModel] | None:
    """The model inside an annotation such as `Mapping[str, Bed]` or `Mail | None`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(filter(None, map(_inner, get_args(annotation))), None)
