"""Everything that can reach the engine.

Events carry `at_utc_s` (Unix seconds, UTC) and `mono_s` (seconds of a clock that never jumps and
restarts with the process). They hold plain values only, nobody changes one after it was made, and
they are written to the journal as JSON: feeding a journal to a fresh engine gives the identical
decisions. Those that come by the hundred thousand are not declared frozen: that makes them cheap.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

NEWER = "newer version"  # why the record cannot be opened, as `RecordFailed.cause` tells it


@dataclass(frozen=True, slots=True, kw_only=True)
class LedgerEntry:
    """One opening (pulse) of a bed valve as the budget sees it.

    `ended_trusted_s` is the trusted elapsed time at its end, None while it runs.
    """

    dose: str
    bed: str
    charged_l: float
    ended_trusted_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """The process came up: what the store knows.

    `trusted_s` is the trusted elapsed time now, the gap since the last run included.
    `history` tells whether the ledger is whole: lost history means that the budget is spent.
    `arrival_least_s` is the least length of a window that compares arrivals, for scaled trials.
    `garden_json` is the garden file in force, so that a journal can be read without it.
    `crashed` tells whether the last run ended without saying so, `starts_lately` how many runs
    began within ten minutes, this one included. `proofs` tells whether it proves its master valve
    each week.
    """

    kind: Literal["started"] = "started"
    at_utc_s: float
    mono_s: float
    trusted_s: float
    stored_epoch: int
    stored_seq: int = 0
    ledger: tuple[LedgerEntry, ...] = ()
    history: Literal["kept", "first", "lost"] = "kept"
    clock_synced: bool = True
    armed: bool = True
    arrival_least_s: float = 0.0
    garden_json: str | None = None
    crashed: bool = False
    starts_lately: int = 1
    proofs: bool = False


@dataclass(slots=True, kw_only=True)
class Tick:
    """Time passes."""

    kind: Literal["tick"] = "tick"
    at_utc_s: float
    mono_s: float


@dataclass(slots=True, kw_only=True)
class ProbeReading:
    """One value of one probe, in the unit that the garden file declares for it."""

    kind: Literal["probe"] = "probe"
    at_utc_s: float
    mono_s: float
    probe: str
    value: float
    soil_temp_c: float | None = None
    battery_v: float | None = None
    seq: int | None = None
    boot: str | None = None
    not_now: Literal["", "retained", "future_dated"] = ""  # why it is none of now: never used


@dataclass(slots=True, kw_only=True)
class ValveReport:
    """What a valve node says of itself (the wire's `valve/<id>/state`)."""

    kind: Literal["valve"] = "valve"
    at_utc_s: float
    mono_s: float
    valve: str
    open: bool
    left_s: float
    dose: str
    boot: str
    epoch: int
    seq: int
    contract: int


@dataclass(slots=True, kw_only=True)
class MeterReading:
    """The running total of a meter; `up_s` is the node's own uptime when it counted."""

    kind: Literal["meter"] = "meter"
    at_utc_s: float
    mono_s: float
    meter: str
    litres_total: float
    up_s: float
    boot: str


@dataclass(slots=True, kw_only=True)
class PressureReading:
    """The pressure that a meter's node tells beside its total, where the garden file has one."""

    kind: Literal["pressure"] = "pressure"
    at_utc_s: float
    mono_s: float
    meter: str
    pressure_kpa: float
    up_s: float
    boot: str


@dataclass(slots=True, kw_only=True)
class WeatherReading:
    """What a mast tells; None where it has no such instrument. Wind stands at 2 m."""

    kind: Literal["weather"] = "weather"
    at_utc_s: float
    mono_s: float
    mast: str
    temp_c: float | None = None
    rh_pct: float | None = None
    rain_mm_total: float | None = None
    solar_w_m2: float | None = None
    wind_m_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlookSpan:
    """Rain and heat to come within one span of time."""

    from_utc_s: float
    hours: float
    rain_mm: float = 0.0
    chance_frac: float = 1.0
    tmin_c: float | None = None
    tmax_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RainOutlook:
    """What somebody foretells. It can postpone a watering; it never opens a valve."""

    kind: Literal["outlook"] = "outlook"
    at_utc_s: float
    mono_s: float
    spans: tuple[OutlookSpan, ...]


class OrderKind(StrEnum):
    """What a person can order."""

    WATER = "water"
    STOP = "stop"
    STOP_ALL = "stop_all"
    PAUSE = "pause"
    RESUME = "resume"
    LOCK = "lock"
    UNLOCK = "unlock"
    CLEAR = "clear"
    FORGET = "forget"
    SOIL = "soil"
    LOOK = "look"
    FORGET_LOOKS = "forget_looks"
    STAGE = "stage"
    FORGET_STAGE = "forget_stage"
    POURED = "poured"
    FORGET_POURED = "forget_poured"
    MISS = "miss"
    FORGET_MISS = "forget_miss"
    TANK = "tank"
    PICK = "pick"
    FORGET_PICK = "forget_pick"
    WALK = "walk"
    WALK_ANSWER = "walk_answer"
    WALK_BACKFLOW = "walk_backflow"
    WALK_END = "walk_end"
    HOSE = "hose"
    HOSE_END = "hose_end"
    FLOW_ANSWER = "flow_answer"
    PAIR = "pair"
    UNPAIR = "unpair"
    OUTLOOK = "outlook"
    FORGET_OUTLOOK = "forget_outlook"
    NOTE = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """A person's order. `bed` is None where it means the whole garden.

    For `WATER` exactly one of `litres`, `open_s`, `refill` is set. `until_utc_s` and `only_longer`
    (a pause that stands ends no sooner by it) belong to `PAUSE`, `yes` to `RESUME` (what a person
    stopped goes on, pauses stay),
    `alert` to `CLEAR`, `feel` (dry, just_moist, wet) and `depth_cm` to `SOIL`,
    `leaves` (0 upright, 1 slightly rolled, 2 limp) and `when` (morning, midday, empty: now) to
    `LOOK`,
    `stage` (first_flower, first_set, first_colour, topped, last_pick) and the day `on` to `STAGE`,
    `litres` to `POURED` and `TANK` (none: full), the day `on` to `PICK` and `FORGET_PICK`; to a
    `PICK` of today or before also `kg` [kg], `cracked`, `black_ended` [fruit] and `variety`;
    `text` to `NOTE`;
    `yes` to `WALK` (answer for me) and `WALK_ANSWER`, `device` and `on` to `WALK_BACKFLOW`,
    `open_s` to `HOSE`, `yes` to `FLOW_ANSWER` (the water is ours), `pair`, `role` (operator,
    helper), `name` and `secret_sha256` to `PAIR`, `pair` to `UNPAIR`,
    `spans` to `OUTLOOK`.
    """

    kind: Literal["order"] = "order"
    at_utc_s: float
    mono_s: float
    order: str
    what: OrderKind
    who: str
    bed: str | None = None
    litres: float | None = None
    open_s: float | None = None
    refill: bool = False
    until_utc_s: float | None = None
    only_longer: bool = False
    why: str = ""
    alert: str | None = None
    feel: str = ""
    depth_cm: float | None = None
    leaves: int | None = None
    when: str = ""
    stage: str = ""
    on: str = ""
    yes: bool | None = None
    device: str = ""
    pair: str = ""
    role: str = ""
    name: str = ""
    secret_sha256: str = ""
    kg: float | None = None
    cracked: int | None = None
    black_ended: int | None = None
    variety: str = ""
    text: str = ""
    spans: tuple[OutlookSpan, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkUp:
    """Connected, subscribed, and our own canary was heard."""

    kind: Literal["link_up"] = "link_up"
    at_utc_s: float
    mono_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkDown:
    """No connection, or no canary for 45 s."""

    kind: Literal["link_down"] = "link_down"
    at_utc_s: float
    mono_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """The store has the reservation of this dose on disk, synced."""

    kind: Literal["recorded"] = "recorded"
    at_utc_s: float
    mono_s: float
    dose: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordFailed:
    """The store could not write. `dose` is empty when it was no reservation.

    `cause` is `NEWER` where a newer version of the program wrote the record.
    """

    kind: Literal["record_failed"] = "record_failed"
    at_utc_s: float
    mono_s: float
    dose: str
    cause: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreState:
    """The store can write again (True) or cannot (False), found out by its own trial."""

    kind: Literal["store"] = "store"
    at_utc_s: float
    mono_s: float
    can_record: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignController:
    """Another controller was heard on `controller/state` (or a node obeys a higher epoch)."""

    kind: Literal["foreign"] = "foreign"
    at_utc_s: float
    mono_s: float
    epoch: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerRights:
    """Whether the broker lets a client without an account write on a valve's command topic."""

    kind: Literal["broker_rights"] = "broker_rights"
    at_utc_s: float
    mono_s: float
    open: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockState:
    """The board's wall clock was set from outside (True), or is known not to be."""

    kind: Literal["clock"] = "clock"
    at_utc_s: float
    mono_s: float
    synced: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class GardenChanged:
    """The garden file was reloaded: the new one, validated, or None where it was refused."""

    kind: Literal["garden"] = "garden"
    at_utc_s: float
    mono_s: float
    garden_json: str | None
    cause: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmWay:
    """A way out of the house (`mail`, `command`) works, or fails and why."""

    kind: Literal["alarm_way"] = "alarm_way"
    at_utc_s: float
    mono_s: float
    way: str
    works: bool
    cause: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stumbled:
    """The engine fell over an event of kind `over`; every valve was told to close."""

    kind: Literal["stumbled"] = "stumbled"
    at_utc_s: float
    mono_s: float
    over: str


Event = Annotated[
    Started
    | Tick
    | ProbeReading
    | ValveReport
    | MeterReading
    | PressureReading
    | WeatherReading
    | RainOutlook
    | Order
    | LinkUp
    | LinkDown
    | Recorded
    | RecordFailed
    | StoreState
    | ForeignController
    | BrokerRights
    | ClockState
    | GardenChanged
    | AlarmWay
    | Stumbled,
    Field(discriminator="kind"),
]
EVENT_JSON: TypeAdapter[Event] = TypeAdapter(Event)  # the journal's form
