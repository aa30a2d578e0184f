"""What the engine remembers between events: plain values, written to snapshots as JSON.

Depths are millimetres over a bed's wetted strip; litres = millimetres x `wetted_area_m2`.
`trusted_s` is elapsed time that no clock jump can move.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pydantic import TypeAdapter

from controller.agronomy.crop import Stage
from controller.agronomy.stages import Seen
from controller.alarming.seldom import Told
from controller.effects import Alert
from controller.events import LedgerEntry, OutlookSpan
from controller.proving.memory import Proving
from controller.sensing.climate import Climate
from controller.sensing.sky_sources import Reckoned
from controller.sensing.undried import Undried
from controller.told_state import Felt as Felt
from controller.told_state import Keyed, Miss, Paired, Poured, Scarce, StopBurst, Taps, TypedSky
from controller.told_state import Pause as Pause
from controller.water_state import DoseTrial as DoseTrial
from controller.water_state import DueHours as DueHours
from controller.water_state import MeterState as MeterState
from controller.water_state import Pulse as Pulse
from controller.water_state import ValveState as ValveState
from controller.water_state import Watering as Watering
from controller.watering.efficiency import DoseLesson
from controller.watering.eye import Eye
from controller.watering.staged import DayDose, Staging


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
    soil_temp_c: float | None = None  # of its last word, believed or not
    value: float | None = None  # the last believed one, as told
    heard_mono_s: float | None = None  # last word of it, believed or not
    window_m3_m3: list[float] = field(default_factory=list)  # the last seven, believed or not
    odd_utc_s: float | None = None  # since when its readings are out of line
    good: int = 0  # believed readings in a row
    boots: list[str] = field(default_factory=list)  # earlier ones of its node
    restart_seq: int | None = None  # a lower number told after a silence
    flags: dict[str, float] = field(default_factory=dict)  # what stands, and since when
    counts: dict[str, int] = field(default_factory=dict)  # how often each was raised
    trust: str = ""  # what the gravest flag costs: doubtful | out | nothing
    hours_m3_m3: list[float | None] = field(default_factory=list)  # medians of the last hours
    still_h: int = 0  # hours in a row within one digit
    still_most_h: int = 0  # the longest such spell that it came out of by itself
    still_low_m3_m3: float = 0.0
    still_high_m3_m3: float = 0.0
    spikes: int = 0  # within the hour
    restless_h: int = 0
    wild_h: int = 0  # hours whose middle said nothing, each calm one less
    path_m3_m3: float = 0.0  # how far its hours went up and down in about a day
    tremor_m3_m3: float = 0.0  # its own usual trembling from hour to hour
    tremor_days: int = 0  # that taught it
    calm_h: int = 0
    level_m3_m3: float | None = None  # before it jumped or dropped
    level_h: int = 0  # hours since then
    battery_last_v: float | None = None
    battery_low_v: float | None = None  # the day's lowest
    battery_most_v: float = 0.0  # that it never went below on two days in a row
    battery_good: int = 0  # words of a fresh battery, while it counts as flat
    battery_days_v: list[float] = field(default_factory=list)
    highest_m3_m3: float = 0.0  # of all its hours
    rise_h: int = 0  # hours since its last rise without water


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """What readings did to a bed in one hour: changes of its state, and the drainage by then."""

    lacks_mm: float  # more depletion, less what is held above full
    var_mm2: float
    log_thirst: float
    var_thirst: float
    cov_mm: float
    drained_mm: float = 0.0  # gone below the roots so far
    hour: int = 0  # that it ended, since 1970
    probes: list[str] = field(default_factory=list)  # that spoke


@dataclass(slots=True, kw_only=True)
class BedWater:
    """The root zone of one bed as the filter sees it.

    State: depletion below field capacity [mm] and log(thirst), the bed's own multiplier on Kcb;
    `var_*` and `cov` are their variances [mm2, -, mm].
    """

    depletion_mm: float
    var_mm2: float
    apart_sd_m3_m3: float = 0.0  # how wrong its probes' mean may be, as they left their usual way
    odd_mm2: float = 0.0  # more of the depletion's variance, while its probes insist on another
    told_lately_mm: list[float] = field(default_factory=list)  # the last hours' word, oldest first
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
    over_mm: float = 0.0  # held above field capacity, still draining; 0 where depletion is not
    full_shift_m3_m3: float = 0.0  # this bed's full point, learned, less the file's
    full_sd_m3_m3: float = 0.0  # how far it may still be off; of no meaning without odds
    full_odds_frac: list[float] = field(
        default_factory=list
    )  # of the candidates; empty: no probe yet
    full_probes: list[str] = field(default_factory=list)  # whose word taught it
    full_since_utc_s: float | None = None  # when it last changed what counts
    full_looked: int = 0  # when it was last looked at, in units of `full_point.LOOK_S` since 1970
    full_wait_m3_m3: list[float] = field(
        default_factory=list
    )  # by its odds at the last looks, less the file's: what counts a day later
    full_due_m3_m3: float = 0.0  # a change that counts from the next hour on
    full_said_m3_m3: float = 0.0  # the shift that was last told
    dry_from_utc_s: float | None = None  # since when a settled, drying day is watched
    dry_from_m3_m3: float = 0.0  # what the probes told then
    dry_lows_m3_m3: list[float] = field(default_factory=list)  # lowest at which it drank, rising
    soak_utc_s: float | None = None  # last water of the last soaking
    soak_before_m3_m3: float | None = None  # what the probes told before it
    soak_given_mm: float = 0.0
    soak_var_mm2: float = 0.0  # of what was given
    soak_use_mm: float = 0.0  # since the soaking began
    soak_late_mm: float = 0.0  # of it, used before its last water
    in_mm: float = 0.0  # the books since the bed began: water in,
    used_mm: float = 0.0  # drunk and evaporated,
    drained_mm: float = 0.0  # gone below the full root depth,
    pulled_mm: float = 0.0  # and what readings made of it: more water than the balance thought
    pulled_from_mm: float | None = None  # what it was as the books of the last watering began
    pulls: list[Pull] = field(default_factory=list)  # of the last hours, oldest first


@dataclass(slots=True, kw_only=True)
class ProbeLine:
    """What was learned of a raw probe without a calibration table, in its bed.

    Water content = `water_m3_m3` + `slope_frac` x (told - `told_m3_m3`); what it tells is nominal.
    """

    slope_frac: float = 0.0  # 0: not learned yet
    told_m3_m3: float = 0.0
    water_m3_m3: float = 0.0
    spells: int = 0  # dry ones that taught it
    dried_m3_m3: float = 0.0  # in them, by the balance
    stirred_m3_m3: float = 0.0  # in them, what it told less in the end
    since_utc_s: float | None = None  # when it became usable
    from_told_m3_m3: float = 0.0  # the dry spell under way
    from_used_mm: float | None = None
    last_told_m3_m3: float = 0.0
    last_used_mm: float = 0.0
    last_water_m3_m3: float = 0.0


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
    masts_mono_s: dict[str, float] = field(default_factory=dict)  # when each mast last spoke
    rain_totals_mm: dict[str, float] = field(default_factory=dict)  # by mast
    rain_mast: str = ""  # whose rain counts
    rain_mono_s: float = 0.0
    rain_due_mm: float = 0.0  # fallen, not yet given to the beds
    temps: list[Hour] = field(default_factory=list)  # the last 24 hours
    spans: list[OutlookSpan] = field(default_factory=list)  # as the topic told them
    typed: TypedSky | None = None  # and as a person did
    reckoned: Reckoned = field(default_factory=Reckoned)


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
    crashes: int = 0  # of the daemon, each within a dose of this bed and none sound since
    judged_from_utc_s: float | None = None  # the window in which it was last judged
    not_before_mono_s: float = 0.0  # a valve or record that failed is not tried again before
    stopped_mono_s: float = 0.0  # a person's stop holds until then
    past_floor_mono_s: float | None = None  # since when it is past its floor without water
    due: DueHours | None = None  # in which it was to drink, while it has not
    postponed: int = 0
    last_watering_utc_s: float | None = None
    last_watering_l: float = 0.0
    day_doses: list[DayDose] = field(default_factory=list)  # by ourselves or by order
    staging: Staging | None = None  # a refill over nights under way
    lesson: DoseLesson = field(default_factory=DoseLesson)  # what its doses taught
    pause: Pause | None = None
    told_m3_m3: float | None = None  # by the probes at the last full hour that they spoke
    told_frac: float | None = None  # depletion by the probes at the last full hour
    given_hour_l: float = 0.0
    rain_hour_mm: float = 0.0
    water_hours_mm: list[float] = field(default_factory=list)  # the books' `in_mm`, hour by hour
    felt: Felt | None = None
    undried: Undried = field(default_factory=Undried)  # what its probes take back of its drying
    marks: dict[str, Seen] = field(default_factory=dict)  # of the season, by event
    eye: Eye = field(default_factory=Eye)  # what looks at its leaves taught
    limp_utc_s: float | None = None  # limp leaves on a morning, not answered yet
    hung_utc_s: float | None = None  # the same, whatever they were put down to
    picks: list[int] = field(default_factory=list)  # days of picks that are planned, in order
    picked: list[int] = field(default_factory=list)  # days of the last picks told, as told
    rained_utc_s: float | None = None  # last hour's end at which rain had soaked in
    blind_trusted_s: float | None = None  # since when it has no probe to go by
    blind_called_trusted_s: float | None = None  # when that was last called out
    spared_mm: float = 0.0  # of its use, for rain that nobody measured
    poured: Poured | None = None  # the last that somebody told
    miss: Miss | None = None  # a turn that a person wants left out
    frosted: bool = False  # no sound pulse since the last frost
    alone: bool = False  # drinks alone the next time, so that its flow can be told


@dataclass(slots=True, kw_only=True)
class ProbeCare:
    """How one probe has answered so far."""

    misses: int = 0  # doses in a row that it had to feel and did not
    answered_frac: list[float] = field(default_factory=list)  # reach of the last it answered
    against_hand: int = 0  # feels of the soil beside it in a row that it contradicted
    against_hand_utc_s: float | None = None  # the last that counted
    told_wetter: bool = False  # than the hand for which it is doubted
    usual_apart_m3_m3: float | None = None  # above its peers at settled dawns
    dawns: int = 0  # so far
    apart_days: list[int] = field(default_factory=list)  # the last of them, as days since 1970,
    apart_m3_m3: list[float] = field(default_factory=list)  # and how far it stood above its peers
    off_m3_m3: float = 0.0  # at the last of them
    above_m3_m3_d: float = 0.0  # how far and how long it stood out of its band, upwards
    below_m3_m3_d: float = 0.0  # and downwards
    strayed_utc_s: float | None = None  # since when
    set_back_m3_m3: float = 0.0  # what its readings are lowered by, as it is believed to stray
    dawn_utc_s: float | None = None  # the last of them
    dawn_days: list[int] = field(default_factory=list)  # the last settled ones, as days since 1970,
    dawn_m3_m3: list[float] = field(default_factory=list)  # what it told at them,
    dawn_lacks_m3_m3: list[float] = field(default_factory=list)  # and what its bed lacked
    dawn_peers_m3_m3: list[float | None] = field(default_factory=list)  # the mean of its peers
    follows_frac: float = 0.0  # how far it goes where its bed goes by one, learned slowly
    follows_squares: float = 0.0  # the weight of that: squares of its bed's ways
    followed_dawns: int = 0  # that taught it
    taught_day: int = 0  # the last of them
    inside_utc_s: float | None = None
    apart_dawns: int = 0  # in a row, on which it stood too far from its peers


@dataclass(slots=True, kw_only=True)
class BedBooks:
    """What a bed's books told at the last dawns, oldest first."""

    dawn_days: list[int] = field(default_factory=list)  # the settled ones, as days since 1970,
    told_m3_m3: list[float] = field(default_factory=list)  # the mean of all its probes at them,
    balance_mm: list[float] = field(default_factory=list)  # and what it lacked but for readings
    refill_days: list[int] = field(default_factory=list)  # the dawns after a refill,
    refill_m3_m3: list[list[float]] = field(default_factory=list)  # and what each of them told
    told_by: list[str] = field(default_factory=list)  # these probes
    rain_mm: list[float] = field(default_factory=list)  # of each of the last days
    rain_since_mm: float = 0.0  # since the last dawn


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
    unset_block: int | None = None  # of 24 hours of trusted time, while the clock is not set,
    unset_from_utc_s: float = 0.0  # and when it began, by that clock
    armed: bool = True
    arrival_least_s: float = 0.0
    stumbled_mono_s: list[float] = field(default_factory=list)  # when this run's engine fell lately
    foreign: bool = False
    budget_spent_until_trusted_s: float | None = None
    lock_why: str | None = None
    pause: Pause | None = None
    dry_beds: list[str] = field(default_factory=list)  # gave nothing, since water last flowed
    supply_tries: int = 0  # that came dry in a row
    supply_rests_trusted_s: float | None = None  # the supply is not tried again before
    ledger: list[LedgerEntry] = field(default_factory=list)
    water: dict[str, BedWater] = field(default_factory=dict)
    days: dict[str, BedDay] = field(default_factory=dict)
    beds: dict[str, BedMemory] = field(default_factory=dict)
    probes: dict[str, ProbeState] = field(default_factory=dict)
    learned: dict[str, ProbeLine] = field(default_factory=dict)  # by bed and probe
    care: dict[str, ProbeCare] = field(default_factory=dict)  # by probe
    books: dict[str, BedBooks] = field(default_factory=dict)  # by bed
    trials: dict[str, DoseTrial] = field(default_factory=dict)  # by bed
    crossed: dict[str, int] = field(default_factory=dict)  # answers to another bed's dose, by pair
    valves: dict[str, ValveState] = field(default_factory=dict)
    waterings: dict[str, Watering] = field(default_factory=dict)
    sky: SkyState = field(default_factory=SkyState)
    climate: Climate = field(default_factory=Climate)
    warmth_c_d: dict[int, float] = field(default_factory=dict)  # degree-days, by the day they came
    meter: MeterState = field(default_factory=MeterState)
    scarce: Scarce = field(default_factory=Scarce)
    taps: Taps = field(default_factory=Taps)
    pairs: dict[str, Paired] = field(default_factory=dict)  # by id; replaced, not changed
    keyed: dict[str, Keyed] = field(default_factory=dict)  # orders that carry a key, oldest first
    stops: dict[str, StopBurst] = field(default_factory=dict)  # the last ones, by caller
    proving: Proving = field(default_factory=Proving)
    alerts: dict[str, Alert] = field(default_factory=dict)
    alerts_told: Told = field(default_factory=Told)
    edge_mono_s: float | None = None  # a valve was last told to open or close
    readings: int = 0
    waterings_started: int = 0
    litres: float = 0.0


STATE_JSON: TypeAdapter[EngineState] = TypeAdapter(EngineState)
