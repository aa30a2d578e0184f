"""What is remembered of people's word: pauses, soil felt, water poured, turns missed, the sky.

Litres and hoses as well. Part of the engine's state
(`controller/state.py`), kept apart for its length.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from controller.effects import Answer
from controller.events import OutlookSpan

PAIRS_MOST = 32  # browsers that may be paired at once


@dataclass(slots=True, kw_only=True)
class Pause:
    """No automatic watering until then, by the wall clock and by trusted time."""

    until_utc_s: float
    why: str
    until_trusted_s: float | None = None  # None: of an older record, not known yet
    called_trusted_s: float | None = None  # when it was last called out


@dataclass(frozen=True, slots=True, kw_only=True)
class Felt:
    """What a hand in the soil felt last."""

    feel: str
    depth_cm: float
    at_utc_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Poured:
    """The last water that somebody poured on a bed, and what it did to the balance."""

    litres: float
    at_utc_s: float
    stored_mm: float  # of it, into the root zone
    over_mm: float  # of it, above full: it runs through
    var_mm2: float  # of the depletion before


@dataclass(frozen=True, slots=True, kw_only=True)
class Miss:
    """A turn that a person wants left out: the bed's next watering."""

    at_utc_s: float
    night_utc_s: float | None = None  # the hours in which it was missed begin here; None: not yet


@dataclass(frozen=True, slots=True, kw_only=True)
class Hose:
    """Other water that somebody announced behind the meter."""

    since_utc_s: float
    until_utc_s: float
    until_trusted_s: float  # it ends by whichever comes first
    who: str = ""


@dataclass(slots=True, kw_only=True)
class Taps:
    """Other hands on the water."""

    hose: Hose | None = None
    ran_on: bool = False  # announced flow that has not rested since
    asked_trusted_s: float | None = None  # since when it is asked whose flow this is
    others_l_min: float = 0.0  # of the flow that is asked about


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedSky:
    """Rain and heat to come as a person typed them; each span is over by its own end."""

    at_utc_s: float
    who: str
    spans: tuple[OutlookSpan, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Keyed:
    """An order whose sender gave it a key, and its answer once there is one."""

    order: str
    answer: Answer | None = None
    who: str = ""  # sent it; empty in states of before it was kept


@dataclass(frozen=True, slots=True, kw_only=True)
class Paired:
    """A browser that may come in: what its secret hashes to, and as what."""

    role: str  # operator | helper
    secret_sha256: str
    since_utc_s: float
    since_trusted_s: float
    name: str = ""


@dataclass(slots=True, kw_only=True)
class StopBurst:
    """Stops that one caller ordered one right after the other."""

    since_trusted_s: float
    last_trusted_s: float
    beds: list[str] = field(default_factory=list)  # stopped in it; an empty name: all of them
    repeats: int = 0  # that have no row of their own


@dataclass(slots=True, kw_only=True)
class Scarce:
    """The litres of a scarce supply, by what valves gave."""

    given_l: dict[int, float] = field(default_factory=dict)  # by local day, the last month
    weeks_l: dict[int, float] = field(default_factory=dict)  # by the trusted hour their week ends
    tank_used_l: float = 0.0  # since it was full
