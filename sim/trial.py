"""A trial garden with a past: some days lived through the engine, then a moment worth watching.

The engine lives in the world until one evening a bed comes to its thirst line. Then the clock is
set to the dark hours after it, nobody having watered: whoever takes over finds that bed due.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from controller.bed_views import sky_of, view_of, window_now
from controller.effects import Effect, Reserve, SaveEpoch, Settle
from controller.engine import Engine
from controller.events import Event
from controller.garden import Garden
from controller.store_reads import HourRow
from controller.watering.policy import line_now_frac
from sim.garden_world import GardenWorld, Span, midnight_utc_s, moved_to, season_for
from sim.replay import EngineReplay

DAYS = 10
DAYS_MOST = 20
FIRST_MONTH_DAY = (7, 1)
EVENING_S = (24 - 2) * 3600.0 - 900.0  # before the usual hours begin
DARK_S = 1800.0  # past midnight
START_FRAC = (0.12, 0.22, 0.30, 0.05)  # invented: the beds do not start alike


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A garden at a moment, with its past.

    Attributes:
        garden: its dates in the season's year.
        world: as it stands at `at_utc_s`.
        at_utc_s: the moment [s, Unix].
        state_json: the engine's state of the evening before.
        trusted_s: trusted elapsed time of that state [s].
        hours: the past days, hour by hour.
        ledger: the past days' openings and their ends, in order, and the epoch that they were of.
        due: the beds that are due.
    """

    garden: Garden
    world: GardenWorld
    at_utc_s: float
    state_json: str
    trusted_s: float
    hours: list[HourRow]
    ledger: list[Effect]
    due: list[str]


def lived(garden: Garden, season_name: str, *, seed: int = 7) -> Trial:
    """Live ten days or a few more, until a bed is due, and stop in the dark before dawn.

    Args:
        garden: the garden file.
        season_name: its weather.
        seed: of the virtual garden.

    Raises:
        SeasonError: the season cannot be used.
    """
    season = season_for(garden, season_name)
    garden = moved_to(garden, season.daily[0].date.year)
    first = date(season.daily[0].date.year, *FIRST_MONTH_DAY)
    span = Span(
        first=first,
        last=first + timedelta(days=DAYS_MOST),
        from_utc_s=midnight_utc_s(garden, first),
        to_utc_s=midnight_utc_s(garden, first + timedelta(days=DAYS_MOST + 1)),
    )
    begin = dict(zip(garden.beds, START_FRAC * len(garden.beds), strict=False))
    world = GardenWorld(garden, season, span.from_utc_s, seed=seed, depletion_frac=begin)
    live = EngineReplay(garden, world, span)
    ledger = _written_down(live.engine)
    day, due = first + timedelta(days=DAYS), []
    while day < span.last:
        live.go(midnight_utc_s(garden, day) + EVENING_S)
        due = _due(live)
        if due and not live.engine.state.waterings:
            break
        day += timedelta(days=1)
    at_utc_s = midnight_utc_s(garden, day + timedelta(days=1)) + DARK_S
    live.engine.state.armed = False  # it looks on, and leaves the bed to whoever takes over
    live.go(at_utc_s)
    live.engine.state.armed = True
    live.engine.state.alerts.pop("not_armed", None)  # it was never true of this garden
    return Trial(
        garden=garden,
        world=world,
        at_utc_s=at_utc_s,
        state_json=live.engine.dump().decode("utf-8"),
        trusted_s=live.engine.run.trusted_s,
        hours=_hours(live),
        ledger=ledger,
        due=due,
    )


def _written_down(engine: Engine) -> list[Effect]:
    """What belongs in a ledger of all that this engine does from now on; it grows with it."""
    kept: list[Effect] = []
    think = engine.step

    def step(event: Event) -> list[Effect]:
        done = think(event)
        kept.extend(one for one in done if isinstance(one, Reserve | Settle | SaveEpoch))
        return done

    engine.step = step  # type: ignore[method-assign]
    return kept


def _due(live: EngineReplay) -> list[str]:
    run = live.engine.run
    window = window_now(run)
    views = [view_of(run, bed, window) for bed in live.garden.beds]
    return [view.bed for view in views if view.sunrise_frac >= line_now_frac(view, sky_of(run))]


def _hours(live: EngineReplay) -> list[HourRow]:
    return [
        HourRow(
            bed=one.note.bed or "",
            hour_utc_s=int(one.at_utc_s // 3600.0) * 3600,
            depletion_frac=one.note.numbers["depletion_frac"],
            line_frac=one.note.numbers["line_frac"],
            rain_mm=one.note.numbers["rain_mm"],
            given_l=one.note.numbers["given_l"],
        )
        for one in live.hands.notes
        if one.note.what == "state" and one.note.bed is not None
    ]
