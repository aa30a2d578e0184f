"""A hidden world lived by the real engine, and what its record would tell a fit.

For trials: the world's truth is drawn from a seed; the record has what the daemon's store would
have of it - hours of probes, openings with the litres that they were credited with - and the
weather of the season. Truth is only asked afterwards.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from controller.effects import Effect, Outcome, Reserve, Settle
from controller.events import Event, ProbeReading
from controller.garden import Garden
from controller.sensing.calibration import water_scale
from sim.draws import bed_draw, meter_factor, probe_draw
from sim.garden_world import START_FRAC
from sim.replay import EngineReplay
from sim.season_run import Replay
from sim.season_types import HOUR_S
from sim.winter.fitting.observed import BedSeen, Observed, ProbeHours, Water


class Recorder:
    """Listens to an engine and keeps what its store would keep for a fit."""

    def __init__(self, garden: Garden) -> None:
        self._scales = {name: water_scale(probe) for name, probe in garden.probes.items()}
        self._hours: dict[str, dict[int, list[float]]] = defaultdict(dict)
        self._reserved: dict[str, Reserve] = {}
        self._settled: dict[str, Settle] = {}

    def hear(self, event: Event, effects: list[Effect]) -> None:
        """One step of the engine."""
        if isinstance(event, ProbeReading):
            theta = self._scales[event.probe](event.value)
            if theta is not None:
                hour = int(event.at_utc_s // HOUR_S) * int(HOUR_S)
                held = self._hours[event.probe].setdefault(hour, [0.0, 0.0])
                held[0] += theta
                held[1] += 1.0
        for effect in effects:
            if isinstance(effect, Reserve):
                self._reserved[effect.dose] = effect
            elif isinstance(effect, Settle):
                self._settled[effect.dose] = effect

    def seen(self, garden: Garden, bed: str) -> BedSeen:
        """What is known of one bed."""
        water, open_s = [], 0.0
        for dose, settle in self._settled.items():
            reserve = self._reserved[dose]
            if reserve.bed != bed or settle.outcome is Outcome.NEVER_SENT:
                continue
            begin, long = reserve.from_utc_s, max(60.0, settle.open_s)
            water.append(Water(from_utc_s=begin, to_utc_s=begin + long, litres=settle.credited_l))
            open_s += long
        water.sort(key=lambda one: one.from_utc_s)
        return BedSeen(
            water=tuple(water),
            probes=tuple(self._probe(probe) for probe in garden.beds[bed].probes),
            open_s=open_s,
            valve_l=sum(one.litres for one in water),
        )

    def _probe(self, probe: str) -> ProbeHours:
        hours = sorted(self._hours[probe].items())
        return ProbeHours(
            probe=probe,
            hour_utc_s=tuple(hour for hour, _ in hours),
            theta_m3_m3=tuple(total / many for _, (total, many) in hours),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Lived:
    """A season that the engine lived.

    Args:
        observed: what its record tells.
        numbers: what it came to, by the world's truth.
        misplaced: the probe that sits elsewhere, if one does.
    """

    observed: Observed
    numbers: dict[str, Any]
    misplaced: str | None


def live(replay: Replay) -> Lived:
    """Live a season through the engine and keep its record."""
    world = replay.world()
    one = EngineReplay(replay.garden, world, replay.span)
    recorder = Recorder(replay.garden)
    think = one.engine.step

    def step(event: Event) -> list[Effect]:
        effects = think(event)
        recorder.hear(event, effects)
        return effects

    one.engine.step = step  # type: ignore[method-assign]
    one.go(replay.span.to_utc_s)
    garden = replay.garden
    observed = Observed(
        garden=garden,
        season=replay.season,
        from_utc_s=replay.span.from_utc_s,
        to_utc_s=replay.span.to_utc_s,
        beds={bed: recorder.seen(garden, bed) for bed in garden.beds},
        source=f"hidden world {replay.seed}",
    )
    return Lived(observed=observed, numbers=one.account.result(), misplaced=world.misplaced)


def truth_of(seed: int, garden: Garden, bed: str) -> dict[str, float]:
    """What a fit of a bed should find, by the names of the fit."""
    draw = bed_draw(seed, bed, garden.beds[bed].emitters)
    found = {
        "fc_off_frac": draw.fc_off_frac,
        "ks_log": math.log(1.0 + draw.ks_off_frac),
        "kc_off_frac": draw.kc_off_frac,
        "p_off_frac": draw.p_off_frac,
        "start_frac": START_FRAC,
        "meter_frac": meter_factor(seed) - 1.0,
        "spot_water_frac": draw.spot_water_frac,
        "spot_use_frac": draw.spot_use_frac,
    }
    for probe in garden.beds[bed].probes:
        one = probe_draw(seed, probe)
        found[f"{probe}.offset_m3_m3"] = one.offset_m3_m3
        found[f"{probe}.gain_frac"] = one.gain_frac
        found[f"{probe}.monthly_drift_m3_m3"] = one.monthly_drift_m3_m3
        found[f"{probe}.temperature_per_c"] = one.temperature_per_c
    return found
