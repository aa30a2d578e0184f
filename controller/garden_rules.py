"""The rules that one value of the garden file can break, and the words for breaking them.

Each rule stands in an annotation (`Annotated[float, Between(0.0, 1.0)]`) and refuses with a whole
predicate, `1.4 is outside 0 to 1`, so that the reader of the file only has to say where it stands.
Rules take numbers as numbers only: TOML's `true`, `"0.5"`, `nan` and `inf` are refused.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BaseModel, ConfigDict
from pydantic_core import PydanticCustomError, core_schema

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler

SHOWN_LENGTH = 40  # [characters] of a found value before it is cut
LONGEST_ID = 40  # [characters] of any name that stands in a topic or an address
FIRST_DAY = date(2000, 1, 1)
LAST_DAY = date(2099, 12, 31)
HUGE_BITS = 200  # [bits] a whole number beyond this is not spelled out
FAULT = "garden_fault"  # the type of every refusal made here; its message is the predicate


def fault(predicate: str) -> PydanticCustomError:
    """Make a refusal whose message is exactly `predicate`."""
    return PydanticCustomError(FAULT, "{predicate}", {"predicate": predicate})


def shown(found: object) -> str:
    """Say a value as it stands in TOML, escaped and shortened, safe for any terminal."""
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, dict):
        return "a table"
    if isinstance(found, int) and found.bit_length() > HUGE_BITS:
        return "a huge whole number"
    if isinstance(found, (int, float)):
        return f"{found:.10g}" if isinstance(found, float) else str(found)
    if isinstance(found, (list, tuple)):
        return f"a list of {len(found)}"
    if isinstance(found, str):
        cut = found if len(found) <= SHOWN_LENGTH else found[: SHOWN_LENGTH - 1] + "…"
        return repr(cut)
    if isinstance(found, (date, datetime)):
        return found.isoformat()
    return f"a {type(found).__name__}"


def listed(words: Sequence[str]) -> str:
    """Join words to `a, b or c`."""
    return " or ".join(filter(None, [", ".join(words[:-1]), words[-1]])) if words else "nothing"


class Rule:
    """A check that runs before pydantic's own, which then only keeps the type."""

    @property
    def allowed(self) -> str:
        """What the rule lets pass, in words."""
        raise NotImplementedError

    def broken(self, value: object) -> str | None:
        """Say how a value breaks the rule, or None where it does not."""
        raise NotImplementedError

    def taken(self, value: Any) -> Any:  # noqa: ANN401 - what stands in a file can be anything
        """Give a value that breaks nothing the type that the model holds."""
        return value

    def check(self, value: Any) -> Any:  # noqa: ANN401 - as above
        """Return the value.

        Raises:
            PydanticCustomError: it breaks the rule.
        """
        predicate = self.broken(value)
        if predicate is not None:
            raise fault(predicate)
        return self.taken(value)

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self.check, handler(source))


@dataclass(frozen=True, slots=True)
class Between(Rule):
    """A finite number from `low` to `high`, both included; `whole` takes whole numbers only."""

    low: float
    high: float
    unit: str = ""
    whole: bool = False

    @property
    def allowed(self) -> str:
        """The range in words."""
        span = f"{self.low:.10g} to {self.high:.10g}"
        return f"{span} {self.unit}" if self.unit else span

    def broken(self, value: object) -> str | None:
        """See `Rule`."""
        kind = "whole number" if self.whole else "number"
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return f"{shown(value)} is no {kind}; allowed is {self.allowed}"
        if isinstance(value, float) and not math.isfinite(value):
            return f"{shown(value)} is no finite number; allowed is {self.allowed}"
        if self.whole and not isinstance(value, int):
            return f"{shown(value)} is no whole number; allowed is {self.allowed}"
        if not self.low <= value <= self.high:
            return f"{shown(value)} is outside {self.allowed}"
        return None

    def taken(self, value: float) -> float | int:
        """Hold whole numbers as int, all others as float."""
        return value if self.whole else float(value)


@dataclass(frozen=True, slots=True)
class Text(Rule):
    """Printable text of 1 to `longest` characters; `pattern` must fit it whole."""

    longest: int
    pattern: str = ""
    meaning: str = ""

    @property
    def allowed(self) -> str:
        """See `Rule`."""
        return self.meaning or f"text of 1 to {self.longest} characters"

    def broken(self, value: object) -> str | None:
        """See `Rule`."""
        if not isinstance(value, str):
            return f"{shown(value)} is no text; allowed is {self.allowed}"
        if not 1 <= len(value) <= self.longest or value.isspace():
            length = f"{shown(value)} is blank or {len(value)} characters long"
            return f"{length}; allowed is {self.allowed}, 1 to {self.longest} characters"
        if not value.isprintable():
            return f"{shown(value)} holds a control character; allowed is {self.allowed}"
        if self.pattern and re.fullmatch(self.pattern, value) is None:
            return f"{shown(value)} is not {self.allowed}"
        return None


@dataclass(frozen=True, slots=True)
class OneOf(Rule):
    """One of a few words."""

    words: tuple[str, ...]

    @property
    def allowed(self) -> str:
        """See `Rule`."""
        return listed(self.words)

    def broken(self, value: object) -> str | None:
        """See `Rule`."""
        if isinstance(value, str) and value in self.words:
            return None
        return f"{shown(value)} is not {self.allowed}"


@dataclass(frozen=True, slots=True)
class Many(Rule):
    """A list of `fewest` to `most` entries."""

    fewest: int
    most: int
    what: str

    @property
    def allowed(self) -> str:
        """See `Rule`."""
        count = str(self.most) if self.fewest == self.most else f"{self.fewest} to {self.most}"
        return f"a list of {count} {self.what}"

    def broken(self, value: object) -> str | None:
        """See `Rule`."""
        if isinstance(value, (list, tuple)) and self.fewest <= len(value) <= self.most:
            return None
        return f"{shown(value)} is not {self.allowed}"


@dataclass(frozen=True, slots=True)
class Table(Rule):
    """A table of `fewest` to `most` tables, each with a name of its own."""

    fewest: int
    most: int
    what: str

    @property
    def allowed(self) -> str:
        """See `Rule`."""
        return f"{self.fewest} to {self.most} tables [{self.what}.NAME]"

    def broken(self, value: object) -> str | None:
        """See `Rule`."""
        if not isinstance(value, Mapping):
            return f"{shown(value)} is no table; write [{self.what}.NAME]"
        if not self.fewest <= len(value) <= self.most:
            return f"{len(value)} {self.what} are outside {self.fewest} to {self.most}"
        return None


class Switch(Rule):
    """`true` or `false`, nothing that merely resembles them."""

    allowed = "true or false"

    def broken(self, value: object) -> str | None:
        """See `Rule`."""
        return None if isinstance(value, bool) else f"{shown(value)} is not {self.allowed}"


class Day(Rule):
    """A date of this century, written `2026-05-09`; JSON brings it as text."""

    allowed = "a date such as 2026-05-09"

    def broken(self, value: object) -> str | None:
        """See `Rule`."""
        try:
            day = self.taken(value)
        except ValueError:
            return f"{shown(value)} is no date of the calendar"
        if not isinstance(day, date) or isinstance(day, datetime):
            return f"{shown(value)} is no date; allowed is {self.allowed}"
        if not FIRST_DAY <= day <= LAST_DAY:
            return f"{shown(value)} is outside {FIRST_DAY} to {LAST_DAY}"
        return None

    def taken(self, value: object) -> object:
        """Hold a date, whether it came as one or as text."""
        if isinstance(value, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
            return date.fromisoformat(value)
        return value


class BedName(Rule):
    """The name of a bed: any printable word or words, since people read it; no slash, no `=`."""

    allowed = f"1 to {LONGEST_ID} printable characters without / \\ = or blanks at its ends"

    def broken(self, value: object) -> str | None:
        """See `Rule`."""
        fits = (
            isinstance(value, str)
            and 1 <= len(value) <= LONGEST_ID
            and value.isprintable()
            and value == value.strip()
            and value not in {".", ".."}
            and not set(value) & set("/\\=")
            and unicodedata.is_normalized("NFC", value)
        )
        return None if fits else f"the name {shown(value)} is not {self.allowed}"


DEVICE_PATTERN = r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}"
DEVICE_MEANING = "letters, digits, - and _, beginning with a letter or digit"
DeviceId = Annotated[str, Text(40, DEVICE_PATTERN, DEVICE_MEANING)]
Line = Annotated[str, Text(200)]
Topic = Annotated[str, Text(200, r"[^+#$][^+#]*", "a topic without + or #, not beginning with $")]


class Part(BaseModel):
    """What all tables have in common: frozen, no unknown keys, no nan."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
