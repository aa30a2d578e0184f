"""One step: an event in, effects out. No socket, file, thread, random source or clock.

The same engine runs in the daemon, in a replay and in the tests. Feeding a journal to a fresh
engine gives the identical effects, bit for bit.
"""

from __future__ import annotations

from controller import grid, inputs, metering, new_season, orders, unset_clock
from controller.bed_views import window_now
from controller.correcting import learned_soil
from controller.effects import Effect, Ready, SaveEpoch
from controller.events import (
    NEWER,
    Event,
    GardenChanged,
    RainOutlook,
    Recorded,
    RecordFailed,
    Started,
    StoreState,
    Tick,
)
from controller.flagging import forget_gone, forget_probe
from controller.garden import Garden, garden_of_json
from controller.hearing import HANDLERS, READINGS
from controller.learned import fit_probes
from controller.living import crashes
from controller.proving import driving
from controller.run import LEASE_S, MARGIN_S, QUIET_S, VERSION, Run, Sense
from controller.sensing.estimate import GRID_S
from controller.sensing.tension import warm_scale
from controller.sensing.uncalibrated import scale_of
from controller.sensing.watching import digit_m3_m3
from controller.state import (
    STATE_JSON,
    BedMemory,
    EngineState,
    ProbeState,
    Said,
    ValveState,
)
from controller.telling import stop_rows
from controller.watering import settling, valves
from controller.watering.decision import Reason
from controller.watering.words import words

JUDGE_EVERY_S = 600.0
HOUR_S = 3600.0
STARTED = "Started; nothing opens in the first minutes."


class Engine:
    """The garden's brain: holds the state, steps through events.

    Args:
        garden: the validated garden file.
        state: as it was dumped, to go on from; None begins anew.
    """

    def __init__(self, garden: Garden, state: EngineState | None = None) -> None:
        if state is None:
            state = EngineState(version=VERSION, garden_json=garden.model_dump_json())
        self.idle = False  # whether the last event was a tick that the journal can do without
        self.run = Run(garden=garden, state=state)
        self._fit_garden()
        if state.grid and not state.days.keys() >= garden.beds.keys():
            grid.begin(self.run, self.run.state.at_utc_s)

    @property
    def state(self) -> EngineState:
        """All that the engine remembers."""
        return self.run.state

    def dump(self) -> bytes:
        """The state as JSON, for a snapshot."""
        return STATE_JSON.dump_json(self.run.state)

    @staticmethod
    def load(dumped: bytes, garden: Garden | None = None) -> Engine:
        """An engine that goes on from a dumped state.

        Args:
            dumped: what `dump` gave.
            garden: where the state does not hold the garden file itself.
        """
        state = STATE_JSON.validate_json(dumped)
        if garden is None:
            garden = garden_of_json(state.garden_json)
        return Engine(garden, state)

    def step(self, event: Event) -> list[Effect]:
        """Take one event and answer it.

        Args:
            event: what happened, with its time.

        Returns:
            The effects, in order.
        """
        run = self.run
        state = run.state
        self.idle = False
        reading = READINGS.get(type(event))
        if reading is not None:
            if event.mono_s != state.mono_s or event.at_utc_s != state.at_utc_s:
                self._take_time(event)
            reading(run, event)
        elif isinstance(event, Tick):
            self._tick(event)
        elif isinstance(event, Started):
            self._started(event)
        else:
            self._hear(event)
        if not run.out and not run.alerts_changed:
            return []
        self.idle = False
        return run.take_effects()

    def _hear(self, event: Event) -> None:
        """What may move water at once: reports, people, the record's answers."""
        state = self.run.state
        if event.mono_s != state.mono_s or event.at_utc_s != state.at_utc_s:
            self._take_time(event)
        handler = HANDLERS.get(type(event))
        if handler is not None:
            handler(self.run, event)
        else:
            self._dispatch_own(event)
        driving.drive(self.run)
        if isinstance(event, Recorded):
            self._judge_when_due()

    def _tick(self, event: Tick) -> None:
        """Time alone ends leases, dries beds and brings their judgement about."""
        run, state = self.run, self.run.state
        at_rest, grid, judged_utc_s = self._at_rest(), state.grid, state.judged_utc_s
        self._take_time(event)
        self._let_lapse()
        run.tell_alerts_late()
        if state.stops:
            stop_rows.tell_ended(run)
        driving.drive(run)
        self._judge_when_due()
        moved = grid != state.grid or judged_utc_s != state.judged_utc_s
        self.idle = at_rest and not moved

    def _at_rest(self) -> bool:
        """Whether no water runs or is under way: then a tick moves nothing but the time."""
        master = self.run.master
        closed = master is None or self.run.state.valves[master].opened_mono_s is None
        return closed and not driving.under_way(self.run)

    def _take_time(self, event: Event) -> None:
        run, state = self.run, self.run.state
        if event.mono_s > state.mono_s:
            state.mono_s = event.mono_s
        state.at_utc_s = event.at_utc_s
        if event.at_utc_s // GRID_S != state.grid:
            grid.catch_up(run, event.at_utc_s)
        if not state.ready and state.mono_s - state.started_mono_s >= QUIET_S:
            self._end_quiet_start()

    def _dispatch_own(self, event: Event) -> None:
        match event:
            case RainOutlook():
                self.run.state.sky.spans = list(event.spans)
            case Recorded() | RecordFailed() | StoreState():
                self._store_said(event)
            case GardenChanged():
                self._garden_changed(event)
            case _:
                pass  # the others have their handlers; `Started` and `Tick` are taken before

    def _started(self, event: Started) -> None:
        run, state = self.run, self.run.state
        self._carry_waits(event)
        state.at_utc_s, state.mono_s = event.at_utc_s, event.mono_s
        self._end_cut_waterings()
        if event.garden_json is not None:
            self._adopt(event.garden_json)
        state.started_mono_s = state.link_mono_s = event.mono_s
        state.mono_base_s, state.trusted_base_s = event.mono_s, event.trusted_s
        state.ready = state.link_up = state.foreign = run.nudge = False
        state.can_record = True
        state.clock_synced, state.armed = event.clock_synced, event.armed
        state.arrival_least_s = event.arrival_least_s
        state.stored_epoch, state.stored_seq = event.stored_epoch, event.stored_seq
        state.heard_epoch = state.seq = state.seq_high = 0
        state.readings, state.waterings_started, state.litres = 0, 0, 0.0
        state.ledger = list(event.ledger)
        self._forget_connections()
        self._rest_what_was_cut(event)
        driving.begin_run(run, event)
        grid.begin(run, event.at_utc_s)
        grid.catch_up(run, event.at_utc_s)
        for name in ("link_lost", "other_controller", "cannot_record"):
            run.end_alert(name)
        if event.history == "lost":
            inputs.lost_history(run)
        run.alerts_changed = True  # the list that the broker retains may be an earlier run's
        crashes.begun(run, event)
        run.close_all()
        run.note("state", None, "started", STARTED, unset_clock.numbers(run))

    def _carry_waits(self, event: Started) -> None:
        """A bed past its floor has waited over the restart too: told by the new process's clock."""
        gone_s = max(0.0, event.trusted_s - self.run.trusted_s)
        for memory in self.run.state.beds.values():
            if memory.past_floor_mono_s is not None:
                memory.past_floor_mono_s += event.mono_s - self.run.state.mono_s - gone_s

    def _rest_what_was_cut(self, event: Started) -> None:
        """A valve rests from its last opening on, even where only the ledger remembers that."""
        for entry in event.ledger:
            bed = self.run.garden.beds.get(entry.bed)
            ended_s = entry.ended_trusted_s
            if bed is not None and ended_s is not None and entry.charged_l > 0.0:
                valve = self.run.state.valves[bed.valve]
                valve.closed_trusted_s = max(valve.closed_trusted_s or ended_s, ended_s)

    def _forget_connections(self) -> None:
        """Nothing that was known of valves, probes and meter outlives a start."""
        state = self.run.state
        for valve in state.valves.values():
            valve.state = "unknown"
            valve.may_flow_until_mono_s = state.mono_s + LEASE_S + MARGIN_S
            valve.opened_mono_s = valve.confirmed_mono_s = valve.heard_mono_s = None
            valve.lease_mono_s = valve.edge_mono_s = valve.needed_mono_s = None
            valve.confirmed_closed_mono_s = None
            if valve.against_mono_s is not None:
                valve.against_mono_s = state.mono_s  # it stands open against its orders anew
        for memory in state.beds.values():
            memory.not_before_mono_s = memory.stopped_mono_s = 0.0
        for probe in state.probes.values():
            probe.mono_s = probe.heard_mono_s = None
            probe.hour_m3_m3.clear()
        state.trials.clear()  # its probes' hours have a gap
        state.sky.mono_s = state.edge_mono_s = None
        state.sky.rain_mono_s = state.mono_s  # the mast whose rain counts has its two hours anew
        state.sky.told_mono_s.clear()  # of the ended process's clock
        state.sky.masts_mono_s.clear()
        state.meter.mono_s = None

    def _end_cut_waterings(self) -> None:
        """End what ran when the process ended.

        The store charges it in full; the balance gets what was counted, and the bed may be judged
        again.
        """
        run = self.run
        for bed, watering in list(run.state.waterings.items()):
            given_l = watering.pulse.given_l if watering.pulse is not None else 0.0
            settling.end_interrupted(run, watering, given_l)
            run.state.beds[bed].judged_from_utc_s = None
        run.state.waterings.clear()

    def _end_quiet_start(self) -> None:
        run, state = self.run, self.run.state
        state.ready = True
        state.epoch = 1 + max(state.stored_epoch, state.heard_epoch)
        state.seq = state.seq_high = 0
        run.out.append(SaveEpoch(epoch=state.epoch))
        run.out.append(Ready(epoch=state.epoch))
        run.nudge = True

    def _store_said(self, event: Recorded | RecordFailed | StoreState) -> None:
        run, state = self.run, self.run.state
        if isinstance(event, Recorded):
            if not state.can_record:  # a disk that hung, and goes on
                state.can_record = run.nudge = True
                run.end_alert("cannot_record")
            watering = valves.recorded(run, event.dose)
            if watering is not None:
                orders.recorded(run, watering)
            return
        if isinstance(event, StoreState) and event.can_record:
            state.can_record = True
            run.end_alert("cannot_record")
            run.nudge = True
            return
        state.can_record, run.nudge = False, True
        run.raise_alert(
            "cannot_record",
            "A newer version wrote the record, so nothing opens. Install that one again, or "
            "restore the backup from before the upgrade."
            if isinstance(event, RecordFailed) and event.cause == NEWER
            else "The record cannot be written, so nothing opens. Look at the disk.",
        )
        if isinstance(event, RecordFailed) and event.dose:
            watering = valves.unrecorded(run, event.dose)
            if watering is not None:
                orders.unrecorded(run, watering)

    def _let_lapse(self) -> None:
        """A valve that could have been held open by an old lease can be so no longer."""
        state = self.run.state
        for valve in state.valves.values():
            until_s = valve.may_flow_until_mono_s
            if until_s is not None and state.mono_s >= until_s and valve.opened_mono_s is None:
                valve.may_flow_until_mono_s = None

    def _judge_when_due(self) -> None:
        run, state = self.run, self.run.state
        at_utc_s, judged_utc_s = state.at_utc_s, state.judged_utc_s
        window = window_now(run)
        inside = window.holds(at_utc_s)
        every_s = JUDGE_EVERY_S if inside else HOUR_S
        begins = inside and not window.holds(judged_utc_s)
        due = state.nudge or begins or at_utc_s // every_s != judged_utc_s // every_s
        if due or metering.gone(run):
            state.judged_utc_s = at_utc_s
            driving.judge_all(run)

    def _garden_changed(self, event: GardenChanged) -> None:
        run = self.run
        if event.garden_json is None:
            run.raise_alert("garden_refused", f"The new garden file is refused: {event.cause}")
            return
        run.end_alert("garden_refused")
        self._adopt(event.garden_json)
        grid.begin(run, event.at_utc_s)
        run.note("state", None, "garden", "The garden file was read anew.")
        run.nudge = True

    def _adopt(self, garden_json: str) -> None:
        """Go on with another garden file; a bed that is gone is closed first."""
        run = self.run
        garden = garden_of_json(garden_json)
        for bed in list(run.state.waterings):
            here = garden.beds.get(bed)
            if here is None or here.valve != run.garden.beds[bed].valve:
                settling.cut(run, bed, "gone")
                run.state.waterings.pop(bed, None)
        for valve in run.state.valves:
            if valve not in garden.valves:
                run.close(valve)
        for name, probe in garden.probes.items():
            if name in run.garden.probes and run.garden.probes[name] != probe:
                forget_probe(run, name)
        before, run.garden, run.state.garden_json = run.garden, garden, garden_json
        self._fit_garden()
        new_season.turn(run, before)

    def _fit_garden(self) -> None:
        """Give every bed, probe and valve of the garden file its place in the state."""
        run, state, garden = self.run, self.run.state, self.run.garden
        for bed in garden.beds:
            fit_probes(run, bed)
        run.soils = {bed: learned_soil(run, bed) for bed in garden.beds}
        run.senses = {
            probe: _sense(run, name, probe)
            for name, bed in garden.beds.items()
            for probe in bed.probes
        }
        run.master, run.place, run.window, run.day = garden.master, None, None, None
        run.marks, run.caps = driving.marks_of(garden), {}
        run.valve_beds = {bed.valve: name for name, bed in garden.beds.items()}
        for name in garden.beds:
            said = Said(code=Reason.QUIET_START.value, text=words(name, Reason.QUIET_START, {}))
            state.beds.setdefault(name, BedMemory(said=said))
        for name in garden.probes:
            state.probes.setdefault(name, ProbeState())
        for name in garden.valves:
            until_s = state.mono_s + LEASE_S + MARGIN_S
            state.valves.setdefault(name, ValveState(may_flow_until_mono_s=until_s))
        for kept, known in (
            (state.beds, garden.beds),
            (state.water, garden.beds),
            (state.days, garden.beds),
            (state.probes, garden.probes),
            (state.care, garden.probes),
            (state.trials, garden.beds),
            (state.books, garden.beds),
            (state.valves, garden.valves),
        ):
            for gone in [name for name in kept if name not in known]:
                kept.pop(gone)
        forget_gone(run)


def _sense(run: Run, bed: str, probe: str) -> Sense:
    """What is asked of a probe at each of its readings, worked out once for a garden file."""
    setting, soil = run.garden.probes[probe], run.soils[bed]
    return Sense(
        bed=bed,
        theta=scale_of(setting),
        saturation_m3_m3=soil.saturation_m3_m3,
        warm=warm_scale(setting, soil),
        digit_m3_m3=digit_m3_m3(setting),
        silent=f"probe_silent-{bed}-{probe}",
        bare=setting.uncalibrated,
    )
