"""What is remembered of walks and proofs: plain values, a part of the engine's state.

Litres, L/min, Unix seconds (`_utc_s`), trusted elapsed seconds (`_trusted_s`).
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True, kw_only=True)
class Measuring:
    """A meter's stretch under way: the totals at which it began, and what was found.

    `phase` is `waiting` (for the meter's first word), `filling`, `measuring` or `done`.
    """

    phase: str = "waiting"
    boot: str = ""
    begin_l: float = 0.0  # of the whole opening
    begin_up_s: float = 0.0
    last_l: float = 0.0  # at the meter's last word
    last_up_s: float = 0.0
    last_rate_l_min: float | None = None
    from_l: float = 0.0  # where the measured stretch began
    from_up_s: float = 0.0
    fill_l: float = 0.0  # what went through until the line was full
    flow_l_min: float | None = None  # found


@dataclass(slots=True, kw_only=True)
class Walked:
    """What came of one bed valve's walk.

    `verdict` is `ok` or why the valve is not armed; `mark` holds the entries of the garden file
    that it was walked under.
    """

    mark: str
    who: str
    at_utc_s: float
    verdict: str
    expected_l_min: float
    flow_l_min: float | None = None  # None: no meter measured it
    fill_l: float = 0.0
    confirmed: str = ""  # who said that the right bed got wet: `person`, `meter`
    trend_l_min: float | None = None  # of its waterings since
    trend_doses: int = 0


@dataclass(slots=True, kw_only=True)
class Baseline:
    """Flow with every bed valve closed, the master open where there is one."""

    mark: str
    who: str
    at_utc_s: float
    verdict: str
    flow_l_min: float | None = None  # None: no meter


@dataclass(slots=True, kw_only=True)
class Backflow:
    """The answer to: which backflow device is fitted, and when was it tested?"""

    device: str
    tested: str  # a date, or empty
    who: str
    at_utc_s: float


@dataclass(slots=True, kw_only=True)
class Active:
    """A walk or a weekly proof under way.

    `todo` names beds, the baseline by the empty name. `phase`: `next`, `waits`, `opening`,
    `closing`, `asking`.
    """

    kind: str  # walk | proof
    who: str
    yes: bool = False
    todo: list[str] = field(default_factory=list)
    at: str = ""  # the bed that it is at
    test: str = ""  # gate | still | shut | walk
    phase: str = "next"
    since_mono_s: float = 0.0
    waits_for: str = ""
    meter: Measuring = field(default_factory=Measuring)
    fault: str = ""  # what ended the measuring before its time
    done: int = 0  # valves proved in this walk


@dataclass(slots=True, kw_only=True)
class ProofResult:
    """How the last weekly proof ended."""

    at_utc_s: float
    code: str  # ok, or what failed
    text: str


@dataclass(slots=True, kw_only=True)
class Proving:
    """All of it."""

    walks: dict[str, Walked] = field(default_factory=dict)  # by bed
    baseline: Baseline | None = None
    backflow: Backflow | None = None
    active: Active | None = None
    ended_by: str = ""  # how the last opening of a walk or proof ended
    ended_l: float = 0.0  # and what the meter told of it
    said: str = ""  # what the last walk came to, for people
    proofs: bool = False  # whether this run proves its master valve by itself
    since_trusted_s: float | None = None  # the walk, or the first start of a trial
    sound_trusted_s: float | None = None  # the last proof that found all well
    tried_trusted_s: float | None = None  # the last one that ended otherwise
    proved: int = 0  # proofs so far: whose turn it is to be opened
    last: ProofResult | None = None
