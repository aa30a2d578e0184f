"""What a sweep varies: values of the garden file, by their names there, each checked like the file.

`lean=0.2,0.5` holds for every bed, `beds.south.lean=0.2,0.5` for one, `garden.hours=…`,
`supply.flow_l_min=…` and the like for the garden. `policy=…` is no value of the file: it chooses
who waters. A varied value holds for the controller and for the world alike.
"""

from __future__ import annotations

import copy
import difflib
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import product
from typing import Any

from pydantic import ValidationError

from controller.errors import WrongUseError
from controller.garden import Bed, Garden
from controller.garden_file import dotted, predicates
from controller.garden_rules import listed, shown

POLICY_KEY = "policy"
LEAST_TABLE_PARTS = 2
NAMED_TABLES = ("beds", "probes", "valves", "meters", "weather")
Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Vary:
    """One `--vary`: a key and its values as they were written."""

    key: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One setting: its words (empty where nothing is varied) and its garden."""

    words: str
    garden: Garden


def parse_vary(text: str) -> Vary:
    """Take `key=a,b,c` apart.

    Raises:
        WrongUseError: it is no such word, or a value stands there twice.
    """
    key, equals, rest = (part.strip() for part in text.partition("="))
    values = tuple(value.strip() for value in rest.split(","))
    if not equals or not key or not all(values):
        msg = f"--vary {text[:60]!r}: is not of the form key=a,b,c"
        raise WrongUseError(msg)
    twice = next((value for value in values if values.count(value) > 1), None)
    if twice is not None:
        msg = f"--vary {key}: {twice!r} stands there twice"
        raise WrongUseError(msg)
    return Vary(key=key, values=values)


def settings_of(document: Document, varied: Sequence[Vary]) -> list[Setting]:
    """Every combination of what is varied, the first of each key first.

    Args:
        document: the garden file's own tables; what is left out there stays derived.
        varied: keys and values, none of them `policy`.

    Returns:
        One setting where nothing is varied, else the product.

    Raises:
        WrongUseError: a key is unknown, or a value is refused by the garden file's own rules.
    """
    keys = [one.key for one in varied]
    if len(set(keys)) < len(keys):
        msg = f"--vary: a key stands there twice: {', '.join(keys)}"
        raise WrongUseError(msg)
    places = [_places(document, key) for key in keys]
    return [
        _setting(document, list(zip(keys, places, values, strict=True)))
        for values in product(*(one.values for one in varied))
    ]


def _places(document: Document, key: str) -> list[tuple[str, ...]]:
    """Where a key stands in the garden file; one place a bed for a bed's own key."""
    parts = tuple(key.split("."))
    if len(parts) < LEAST_TABLE_PARTS:
        if key not in Bed.model_fields:
            raise _unknown(key, key, [POLICY_KEY, *Bed.model_fields], "a bed's keys")
        return [("beds", bed, key) for bed in document["beds"]]
    if parts[0] not in Garden.model_fields:
        raise _unknown(key, parts[0], list(Garden.model_fields), "tables")
    if parts[0] in NAMED_TABLES:
        named = document.get(parts[0], {})
        if parts[1] not in named or len(parts) == LEAST_TABLE_PARTS:
            raise _unknown(key, parts[1], list(named), f"names in [{parts[0]}]")
    return [parts]


def _unknown(key: str, part: str, known: list[str], what: str) -> WrongUseError:
    near = difflib.get_close_matches(part, known, n=1, cutoff=0.5)
    hint = f"the nearest is {near[0]}; " if near else ""
    return WrongUseError(
        f"--vary {key[:60]}: there is no {part[:40]!r}; {hint}{what} are {listed(known)}"
    )


def _setting(
    document: Document, chosen: Sequence[tuple[str, Sequence[tuple[str, ...]], str]]
) -> Setting:
    data = copy.deepcopy(dict(document))
    for key, places, text in chosen:
        for place in places:
            _put(data, place, _value(text), key)
    words = " ".join(f"{key}={text}" for key, _, text in chosen)
    try:
        return Setting(words=words, garden=Garden.model_validate(data))
    except ValidationError as exc:
        faults = predicates(Garden, exc.errors(include_url=False))
    told = "; ".join(f"{dotted(place)}: {predicate}" for place, predicate in faults)
    msg = f"--vary {words}: {told}"
    raise WrongUseError(msg)


def _put(data: dict[str, Any], place: Sequence[str], value: object, key: str) -> None:
    here = data
    for part in place[:-1]:
        here = here.setdefault(part, {})
        if not isinstance(here, dict):
            msg = f"--vary {key[:60]}: {part[:40]!r} is no table, it is {shown(here)}"
            raise WrongUseError(msg)
    here[place[-1]] = value


def _value(text: str) -> object:
    """A number, a truth value or a date as TOML has it; anything else is a word."""
    try:
        value = tomllib.loads(f"value = {text}")["value"]
    except (tomllib.TOMLDecodeError, KeyError):
        return text
    return value if isinstance(value, (bool, int, float, str)) or type(value) is date else text
