"""What every part of the engine works with: the garden, the state, and the effects so far.

No part keeps state of its own; all of it is in `Run.state`, so a snapshot is whole.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date

from controller.alarming import seldom
from controller.alarming.codes import title_of
from controller.effects import Alert, Alerts, Close, Effect, Note
from controller.garden import Garden
from controller.sensing.estimate import BedSoil
from controller.state import BedDay, EngineState
from controller.telling import repeats
from controller.watering.hours import LocalDay, Place, Window, local_day_at
from controller.watering.limits import Caps
from controller.watering.words import bed_name

VERSION = "7"  # of the engine's thinking: snapshots and journals of another are not re-fed
LEASE_S = 90
RENEW_S = 20.0
MARGIN_S = 50.0  # a nonce's life and 5 s
QUIET_S = LEASE_S + MARGIN_S
ACK_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sense:
    """What is known beforehand of one probe: asked at each of its readings."""

    bed: str
    theta: Callable[[float], float | None]  # from a value in the probe's unit [m3/m3]
    saturation_m3_m3: float
    warm: Callable[[float, float | None], float | None] | None = None  # with the soil's warmth
    digit_m3_m3: float = 0.0  # one digit of what it tells
    silent: str = ""  # the id of its alert `probe_silent`
    bare: bool = False  # whether it tells counts that nothing turns into water content


@dataclass(slots=True)
class Run:
    """One engine's working set."""

    garden: Garden
    state: EngineState
    soils: dict[str, BedSoil] = field(default_factory=dict)
    out: list[Effect] = field(default_factory=list)
    senses: dict[str, Sense] = field(default_factory=dict)
    valve_beds: dict[str, str] = field(default_factory=dict)
    caps: dict[str, Caps] = field(default_factory=dict)  # of those beds that were asked for
    marks: dict[str, str] = field(default_factory=dict)  # what a walk rests on, by bed
    master: str | None = None  # the master valve's id, where the garden has one
    place: Place | None = None  # of this garden file, once asked for
    window: Window | None = None  # the last one asked for
    window_since_s: float = 0.0  # from then to its end it is the answer [s, Unix]
    day: LocalDay | None = None  # the last one asked for
    alerts_changed: bool = False

    @property
    def days(self) -> dict[str, BedDay]:
        """What holds for each bed today."""
        return self.state.days

    @property
    def nudge(self) -> bool:
        """Whether the beds are judged again at the next chance."""
        return self.state.nudge

    @nudge.setter
    def nudge(self, wanted: bool) -> None:
        self.state.nudge = wanted

    @property
    def trusted_s(self) -> float:
        """Trusted elapsed time now [s]."""
        state = self.state
        return state.trusted_base_s + (state.mono_s - state.mono_base_s)

    def local_day(self, at_utc_s: float) -> date:
        """The local date at an instant."""
        day = self.day
        if day is None or not day.from_utc_s <= at_utc_s < day.to_utc_s:
            self.day = day = local_day_at(at_utc_s, self.garden.garden.zone)
        return day.date

    def grows(self, bed: str) -> bool:
        """Whether a bed's plants stand: planted, and not cleared away yet."""
        setting, today = self.garden.beds[bed], self.state.day
        cleared = setting.cleared is not None and today >= setting.cleared.toordinal()
        return not cleared and today >= setting.transplanted.toordinal()

    def arrival_s(self, window_s: float) -> float:
        """A window that compares arrivals, stretched where a trial's clock runs fast [s]."""
        return max(window_s, self.state.arrival_least_s)

    def note(
        self,
        what: str,
        bed: str | None,
        code: str,
        text: str,
        numbers: dict[str, float] | None = None,
        *,
        durable: bool = False,
    ) -> None:
        """Put a row into the record."""
        self.out.append(
            Note(what=what, bed=bed, code=code, text=text, numbers=numbers or {}, durable=durable)
        )

    def close(self, valve: str, dose: str = "") -> None:
        """Tell a valve to close and hold it for told, not for closed."""
        held = self.state.valves[valve]
        self.out.append(Close(valve=valve, dose=dose))
        if held.state in {"opening", "open", "unknown"}:
            held.edge_mono_s = self.state.mono_s  # a valve that is shut already makes no hammer
        if held.state in {"opening", "open"}:
            self.state.edge_mono_s = self.state.mono_s
        if held.state != "closed":
            held.state = "told_to_close"
        if valve == self.master and held.opened_mono_s is not None:
            held.opened_mono_s = held.confirmed_mono_s = None
            held.closed_trusted_s = self.trusted_s

    def close_all(self) -> None:
        """Tell every valve to close, bed valves first."""
        master = self.master
        for valve in self.state.valves:
            if valve != master:
                self.close(valve)
        if master is not None:
            self.close(master)

    def raise_alert(
        self,
        code: str,
        text: str,
        *,
        bed: str | None = None,
        valve: str | None = None,
        probe: str | None = None,
        part: str | None = None,
        person: bool = False,
    ) -> None:
        """Let an alert stand, once; `part` tells apart what no bed, valve or probe does."""
        key = "-".join(word for word in (code, bed, valve, probe, part) if word)
        if key in self.state.alerts:
            return
        self.state.alerts[key] = alert = Alert(
            id=key,
            code=code,
            bed=bed,
            valve=valve,
            probe=probe,
            since_utc_s=self.state.at_utc_s,
            text=text,
            person_needed=person,
        )
        if seldom.begins(self.state.alerts_told, alert, self.trusted_s):
            self.note("alert", bed, code, text, durable=person)
            self.alerts_changed = True
        else:
            self.state.alerts_told.list_due = True

    def end_alert(self, code: str, *parts: str) -> None:
        """Let an alert end, if it stands."""
        if not self.state.alerts:
            return  # as nearly always
        key = "-".join((code, *parts))
        ended = self.state.alerts.pop(key, None)
        if ended is None:
            return
        if seldom.ends(self.state.alerts_told, ended, self.trusted_s):
            where = bed_name(ended.bed) if ended.bed else ended.valve or ""
            text = f"{where}: {title_of(code)}" if where else title_of(code)
            self.note("alert", ended.bed, f"{code}_ended", f"Over: {text}.")
            self.alerts_changed = True
        else:
            self.state.alerts_told.list_due = True

    def tell_alerts_late(self) -> None:
        """Tell what was put off of alerts that flapped."""
        told = self.state.alerts_told
        if told.unsaid_s:
            for alert in seldom.late(told, self.state.alerts, self.trusted_s):
                self.note("alert", alert.bed, alert.code, alert.text, durable=alert.person_needed)
        if seldom.list_is_due(told, self.trusted_s):
            self.alerts_changed = True

    def take_effects(self) -> list[Effect]:
        """The effects so far, and begin anew."""
        if self.alerts_changed:
            self.out.append(Alerts(standing=tuple(self.state.alerts.values())))
            self.alerts_changed = False
            seldom.listed(self.state.alerts_told, self.trusted_s)
        effects, self.out = self.out, []
        if self.state.keyed:
            repeats.keep(self.state, effects)
        return effects
