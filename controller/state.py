"""What the engine remembers between events: plain values, written to snapshots as JSON.

Depths are millimetres over a bed's wetted strip; litres = millimetres x `wetted_area_m2`.
`trusted_s` is elapsed time that no clock jump can move.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pydantic import TypeAdapter

from controller.agronomy.crop import Stage
from controller.effects import Alert
from controller.events import LedgerEntry, OutlookSpan


@dataclass(slots=True, kw_only=True)
class ProbeState:
    """The last that was heard of one probe and the hour's accepted readings."""

    at_utc_s: float = 0.0
    mono_s: float | None = None  # arrival in this run; None: nothing heard in this run
    theta_m3_m3: float | None = None
    seq: int | None = None
    boot: str | None = None
    every_s: float | None = None  # learned from arrivals
    hour_m3_m3: list[float] = field(default_factory=list)
    rejected: int = 0
    flag: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BedDay:
    """What holds for a bed through one day."""

    stage: Stage
    days_since_transplant: float
    degree_days: float
    root_depth_m: float
    taw_mm: float
    line_frac: float
    floor_frac: float
    p_frac: float
    kcb: float
    kc_max: float
    exposed_frac: float  # few: wetted and not shaded
    coloured: bool


@dataclass(slots=True, kw_only=True)
class BedWater:
    """The root zone of one bed as the filter sees it.

    State: depletion below field capacity [mm] and log(thirst), the bed's own multiplier on Kcb;
    `var_*` and `cov` are their variances [mm2, -, mm].
    """

    depletion_mm: float
    var_mm2: float
    log_thirst: float = 0.0
    var_thirst: float = 0.0225
    cov_mm: float = 0.0
    below_mm: float = 0.0  # depletion of the ground between the roots and full root depth
    surface_mm: float = 0.0  # depletion De of the evaporating layer
    interception_mm: float = 0.0
    use_mm_d: list[float] = field(default_factory=list)  # potential use of the last days
    use_today_mm: float = 0.0
    use_steps: int = 0  # grid steps that today's use is the sum of
    degree_days: float = 0.0
    wetted_utc_s: float | None = None  # last water but for drizzle
    full_shift_m3_m3: float = 0.0  # this bed's full point, learned, less the file's
    soak_utc_s: float | None = None  # last water of the last soaking
    soak_before_mm: float | None = None  # depletion that the probes told before it
    soak_given_mm: float = 0.0
    soak_rain_mm: float = 0.0
    soak_use_mm: float = 0.0  # since its last water
    soak_looks: int = 0
    soaks_missing_frac: list[float] = field(default_factory=list)  # of the last soakings


@dataclass(slots=True, kw_only=True)
class Hour:
    """One hour's lowest and highest air temperature."""

    hour: int
    tmin_c: float
    tmax_c: float


@dataclass(slots=True, kw_only=True)
class SkyState:
    """What the mast told, and what somebody foretells."""

    mono_s: float | None = None
    at_utc_s: float | None = None
    temp_c: float | None = None
    rh_pct: float | None = None
    solar_w_m2: float | None = None
    wind_m_s: float | None = None
    told_mono_s: dict[str, float] = field(default_factory=dict)  # when each field was last told
    rain_totals_mm: dict[str, float] = field(default_factory=dict)  # by mast
    rain_mast: str = ""  # whose rain counts
    rain_mono_s: float = 0.0
    rain_due_mm: float = 0.0  # fallen, not yet given to the beds
    temps: list[Hour] = field(default_factory=list)  # the last 24 hours
    spans: list[OutlookSpan] = field(default_factory=list)


@dataclass(slots=True, kw_only=True)
class ValveState:
    """One valve: what it was last told, what it last said, and what it is taken for."""

    state: str = "unknown"  # closed | told_to_close | opening | open | unknown
    may_flow_until_mono_s: float | None = None  # no lease can still hold it open after this
    heard_mono_s: float | None = None
    boot: str = ""
    heard_epoch: int = 0  # the highest (epoch, seq) that it told in this boot
    heard_seq: int = 0
    sent_seq: int = 0  # of the last lease sent
    contract: int = 1
    opened_mono_s: float | None = None  # first lease of this opening
    confirmed_mono_s: float | None = None  # said open
    against_mono_s: float | None = None  # since when it says open although it was told to close
    lease_mono_s: float | None = None  # last lease sent
    edge_mono_s: float | None = None  # last told to open or close
    confirmed_closed_mono_s: float | None = None  # said closed
    closed_trusted_s: float | None = None  # said closed after an opening
    needed_mono_s: float | None = None  # the master: a bed last needed it
    dose: str = ""


@dataclass(slots=True, kw_only=True)
class Pulse:
    """One opening under way: reserved, then leased, then closing."""

    dose: str
    bed: str
    valve: str
    want_l: float
    open_s: float
    reserved_l: float
    phase: str = "reserving"  # reserving | master | running | closing
    since_mono_s: float = 0.0
    given_l: float = 0.0
    metered: bool = False
    first_lease_mono_s: float | None = None
    shared: bool = False  # other beds drank at the same time
    ended_by: str = ""
    due_mono_s: float | None = None  # since when its end waits for another valve's edge


@dataclass(slots=True, kw_only=True)
class Watering:
    """A bed's watering: the litres wanted, split into pulses."""

    watering: str
    bed: str
    by: str
    want_l: float
    pulses: int
    pulse_l: float
    pulse_s: float
    need: float  # larger drinks first
    until_utc_s: float | None  # no pulse runs past this
    started_utc_s: float
    done: int = 0
    given_l: float = 0.0
    charged_l: float = 0.0
    next_mono_s: float = 0.0  # soaking until then
    dry_tries: int = 0
    tries: int = 0
    order: str = ""
    pulse: Pulse | None = None


@dataclass(slots=True, kw_only=True)
class MeterState:
    """The last reading of the meter."""

    litres_total: float | None = None
    up_s: float = 0.0
    boot: str = ""
    mono_s: float | None = None
    idle_gain_l: float = 0.0  # with every bed valve closed
    idle_up_s: float = 0.0  # over how long
    high: int = 0  # readings in a row far above what the open beds take


@dataclass(slots=True, kw_only=True)
class Pause:
    """No automatic watering until then."""

    until_utc_s: float
    why: str


@dataclass(slots=True, kw_only=True)
class Said:
    """The latest decision on a bed."""

    code: str
    text: str
    numbers: dict[str, float] = field(default_factory=dict)
    at_utc_s: float = 0.0


@dataclass(slots=True, kw_only=True)
class BedMemory:
    """Everything about one bed but its water."""

    said: Said
    judged_from_utc_s: float | None = None  # the window in which it was last judged
    not_before_mono_s: float = 0.0  # a valve or record that failed is not tried again before
    past_floor_mono_s: float | None = None  # since when it is past its floor without water
    postponed: int = 0
    last_watering_utc_s: float | None = None
    last_watering_l: float = 0.0
    pause: Pause | None = None
    told_mm: float | None = None  # the same, below 0 where wetter than full
    told_frac: float | None = None  # depletion by the probes at the last full hour
    given_hour_l: float = 0.0
    rain_hour_mm: float = 0.0


@dataclass(slots=True, kw_only=True)
class EngineState:
    """All of it."""

    version: str
    garden_json: str = ""
    at_utc_s: float = 0.0
    mono_s: float = 0.0
    trusted_base_s: float = 0.0
    mono_base_s: float = 0.0
    started_mono_s: float = 0.0
    grid: int = 0  # next grid step, in units of the grid length since 1970
    grid_trusted_s: float = 0.0
    day: int = 0
    judged_utc_s: float = 0.0
    nudge: bool = False  # judge the beds again at the next chance
    ready: bool = False
    epoch: int = 0
    heard_epoch: int = 0
    stored_epoch: int = 0
    stored_seq: int = 0
    seq: int = 0
    seq_high: int = 0
    doses: int = 0
    link_up: bool = False
    link_mono_s: float = 0.0
    can_record: bool = True
    clock_synced: bool = True
    armed: bool = True
    arrival_least_s: float = 0.0
    foreign: bool = False
    budget_spent_until_trusted_s: float | None = None
    lock_why: str | None = None
    pause: Pause | None = None
    ledger: list[LedgerEntry] = field(default_factory=list)
    water: dict[str, BedWater] = field(default_factory=dict)
    days: dict[str, BedDay] = field(default_factory=dict)
    beds: dict[str, BedMemory] = field(default_factory=dict)
    probes: dict[str, ProbeState] = field(default_factory=dict)
    valves: dict[str, ValveState] = field(default_factory=dict)
    waterings: dict[str, Watering] = field(default_factory=dict)
    sky: SkyState = field(default_factory=SkyState)
    meter: MeterState = field(default_factory=MeterState)
    alerts: dict[str, Alert] = field(default_factory=dict)
    readings: int = 0
    waterings_started: int = 0
    litres: float = 0.0


STATE_JSON: TypeAdapter[EngineState] = TypeAdapter(EngineState)
