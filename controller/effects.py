"""Everything that the engine can answer.

Effects are the only way in which the engine touches the world. A `Reserve` is answered by
`Recorded` or `RecordFailed` with the same dose; a first lease follows only `Recorded`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

MAX_LEASE_S = 120  # [s] a node refuses more


@dataclass(slots=True, kw_only=True)
class Lease:
    """Let this valve be open for `open_s` from its arrival; the edge adds the latest nonce."""

    kind: Literal["lease"] = "lease"
    valve: str
    open_s: int
    dose: str
    epoch: int
    seq: int


@dataclass(slots=True, kw_only=True)
class Close:
    """Close this valve now. Always allowed."""

    kind: Literal["close"] = "close"
    valve: str
    dose: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reserve:
    """Write-ahead: the most that this opening could deliver. Synced before any lease.

    `watering` names the watering that this pulse belongs to; `seq_high` is the highest sequence
    number that its leases may use.
    """

    kind: Literal["reserve"] = "reserve"
    dose: str
    watering: str
    bed: str
    valve: str
    by: str
    from_utc_s: float
    open_s: float
    reserved_l: float
    want_l: float
    epoch: int
    seq_high: int
    trusted_s: float


class Outcome(StrEnum):
    """The one end that each reservation comes to."""

    CONFIRMED = "CONFIRMED"
    ASSUMED_FULL = "ASSUMED_FULL"
    NEVER_SENT = "NEVER_SENT"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settle:
    """The end of an opening: charged and open_s are upper bounds, credited is the estimate."""

    kind: Literal["settle"] = "settle"
    dose: str
    outcome: Outcome
    open_s: float
    charged_l: float
    credited_l: float
    ended_trusted_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SaveEpoch:
    """This run controls under this epoch; synced before the first reservation."""

    kind: Literal["epoch"] = "epoch"
    epoch: int


@dataclass(slots=True, kw_only=True)
class Note:
    """A row for the record that nothing waits for: a decision, a watering's end, an alert.

    `what` is `decision`, `watering`, `alert`, `order`, `valve`, `hold` or `state`; the numbers are
    finite.
    """

    kind: Literal["note"] = "note"
    what: str
    bed: str | None
    code: str
    text: str
    numbers: dict[str, float] = field(default_factory=dict)
    durable: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Picked:
    """Fruit for the season book: the day `on`, kg, and how many fruit cracked or had a black end.

    With `taken_back` it takes the last entry of that bed and day out again.
    """

    kind: Literal["picked"] = "picked"
    bed: str
    on: str
    kg: float = 0.0
    cracked: int = 0
    black_ended: int = 0
    variety: str = ""
    taken_back: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Alert:
    """One alert that stands."""

    id: str
    code: str
    bed: str | None = None
    valve: str | None = None
    probe: str | None = None
    since_utc_s: float
    text: str
    person_needed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Alerts:
    """All alerts that stand, sent whenever the list changes."""

    kind: Literal["alerts"] = "alerts"
    standing: tuple[Alert, ...]


KEYED = "key-"  # begins the id of an order that carries a key of its sender's


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The answer to an `Order`."""

    kind: Literal["answer"] = "answer"
    order: str
    status: Literal["accepted", "refused", "invalid", "unknown", "unrecorded"]
    reason: str = ""
    text: str = ""
    dose: str | None = None
    litres: float | None = None
    open_s: float | None = None
    allowed_l: float | None = None
    next_possible_utc_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """The quiet start is over: this run controls under `epoch`."""

    kind: Literal["ready"] = "ready"
    epoch: int


Effect = Annotated[
    Lease | Close | Reserve | Settle | SaveEpoch | Note | Picked | Alerts | Answer | Ready,
    Field(discriminator="kind"),
]
EFFECT_JSON: TypeAdapter[Effect] = TypeAdapter(Effect)
EFFECTS_JSON: TypeAdapter[list[Effect]] = TypeAdapter(list[Effect])
