"""What is remembered of water on the move: valves, openings, waterings, the meter.

Part of the engine's state (`controller/state.py`), kept apart for its length.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True, kw_only=True)
class DoseTrial:
    """A bed's dose that its probes have yet to answer; hours as they ended since."""

    hours: int = 0  # since it began
    after_h: int = 0  # since its last water
    given_mm: float = 0.0
    rain_mm: float = 0.0  # meanwhile
    judged: list[str] = field(default_factory=list)  # probes
    felt: bool = False  # one of them answered


@dataclass(frozen=True, slots=True, kw_only=True)
class DueHours:
    """Hours in which a bed was to drink, and what has kept it from that."""

    from_utc_s: float  # their begin; the first ones, where it was to drink in several
    since_utc_s: float  # when that was said
    why: str


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

    @property
    def moved_mono_s(self) -> float | None:
        """When it was last told to move, or said that it closed, as at the end of a lease."""
        edge_s, closed_s = self.edge_mono_s, self.confirmed_closed_mono_s
        if edge_s is None or closed_s is None:
            return closed_s if edge_s is None else edge_s
        return max(edge_s, closed_s)


@dataclass(slots=True, kw_only=True)
class Pulse:
    """One opening under way: reserved, then leased, then closing."""

    dose: str
    bed: str
    valve: str
    want_l: float
    open_s: float
    reserved_l: float
    phase: str = "reserving"  # reserving | master | gate | running | closing
    since_mono_s: float = 0.0
    given_l: float = 0.0
    metered: bool = False
    first_lease_mono_s: float | None = None
    by_time: bool = False  # the meter is dead or silent: charged with the whole reservation
    trial: bool = False  # whether its water came is what it is to show
    shared: bool = False  # other beds drank at the same time
    beside: bool = False  # other water ran behind the meter at the same time
    ended_by: str = ""
    due_mono_s: float | None = None  # since when its end waits for another valve's edge
    from_l: float = 0.0  # the meter when it opened beside others
    from_up_s: float | None = None
    from_boot: str = ""
    rise_told: bool = False  # whether its flow was there was judged


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
    trial: bool = False  # of a meter that counts nothing
    proof: str = ""  # walk | shut | gate: an opening that only proves something
    stage: int = 0  # of a staged refill; 0: none
    stages: int = 0
    stages_lacked_frac: float = 0.0  # what the bed lacked when it began
    least_l: float = 0.0  # its smallest deep dose; 0 where nothing but a person may cut it short
    night_s: float = 0.0  # how long the hours are
    endangered: bool = False  # without water the coming day may take it past its floor
    before_m3_m3: dict[str, float] = field(default_factory=dict)  # by trusted probe
    told_before_m3_m3: float | None = None  # by all probes, down to full root depth
    used_before_mm: float = 0.0  # the books' use
    looked_mono_s: float = 0.0  # when the deep probe was last asked whether it is enough
    pulse: Pulse | None = None


@dataclass(slots=True, kw_only=True)
class Stretch:
    """What the meter counted over a stretch, by its own clock."""

    litres: float = 0.0
    up_s: float = 0.0


@dataclass(slots=True, kw_only=True)
class Fall:
    """The flow of beds that drink together, and the valves for which it did not fall."""

    drinking: list[str] = field(default_factory=list)  # beds, in order
    stretch: Stretch = field(default_factory=Stretch)  # of them, under way
    before: list[str] = field(default_factory=list)  # the beds of the last whole stretch,
    before_l_min: float = 0.0  # its flow,
    before_mono_s: float = 0.0  # and when it ended
    suspects: list[str] = field(default_factory=list)  # beds whose valve may be stuck open
    since_mono_s: float = 0.0  # they are suspected
    gap: Stretch = field(default_factory=Stretch)  # since everything was closed


@dataclass(slots=True, kw_only=True)
class DeadMeter:
    """A meter that may count nothing, and the trial that tells."""

    found: bool = False  # it is dead: waterings go by time
    tried_trusted_s: float | None = None  # the last trial
    bed: str = ""  # whose probes have yet to answer it,
    probes: list[str] = field(default_factory=list)  # those that have to
    hours: int = 0  # since it began
    rain_mm: float = 0.0  # meanwhile


@dataclass(slots=True, kw_only=True)
class Pressure:
    """What the meter's node tells of the pressure, and how often in a row it was too much."""

    up_s: float = 0.0  # of its last word, by its own clock
    boot: str = ""
    high_words: int = 0
    low_words: int = 0


@dataclass(slots=True, kw_only=True)
class MeterState:
    """The last reading of the meter."""

    litres_total: float | None = None
    up_s: float = 0.0
    boot: str = ""
    mono_s: float | None = None
    counted_s: float = 0.0  # when it was counted, by our monotonic clock
    lag_s: float | None = None  # that clock less `up_s`, the least of this hour's words
    lag_before_s: float | None = None  # and of the hour before
    lag_since_s: float = 0.0
    idle_gain_l: float = 0.0  # with every bed valve closed
    idle_up_s: float = 0.0  # over how long
    quiet_s: float = 0.0  # since when it counts nothing
    rested_trusted_s: float | None = None  # when it last stood for a minute
    moment: Stretch = field(default_factory=Stretch)  # while beds drink and no valve moves,
    spell: Stretch = field(default_factory=Stretch)  # and over longer
    fall: Fall = field(default_factory=Fall)
    dead: DeadMeter = field(default_factory=DeadMeter)
    pressure: Pressure = field(default_factory=Pressure)
