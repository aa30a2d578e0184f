"""What is replayed and what it came to: shared by the engine's replay and by its rivals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from controller.agronomy.sun import sun_times_utc_s
from controller.garden import Garden
from controller.view import rfc3339
from sim.draws import Drawn
from sim.faults import FaultScript
from sim.garden_world import (
    GardenWorld,
    Span,
    midnight_utc_s,
    moved_to,
    season_for,
    span_of,
    year_in,
)
from sim.growing_year import in_growing_year
from sim.hands import Flow, TimedNote
from sim.season_account import DawnTruth, HourTruth
from sim.season_types import Season

Picks = Mapping[str, tuple[date, ...]]  # planned picks by bed, in the season's year


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """What is replayed.

    Attributes:
        garden: its dates in the season's year.
        season: the weather.
        span: the days.
        seed: draws an unsure world.
        sure: whether the world is exactly as the garden file says.
        picks: planned picks by bed.
        faults: what breaks when, for the engine; None for nothing.
        tells_picks: whether the controller is told of the picks, as a grower would; without, they
            only count the water that came late.
        drawn: departures of the world that stand in for what the seed draws; None for the seed's.
    """

    garden: Garden
    season: Season
    span: Span
    seed: int
    sure: bool
    picks: Picks = field(default_factory=dict)
    faults: FaultScript | None = None
    tells_picks: bool = True
    drawn: Drawn | None = None

    def world(self) -> GardenWorld:
        """A fresh world of this replay."""
        return GardenWorld(
            self.garden,
            self.season,
            self.span.from_utc_s,
            seed=self.seed,
            sure=self.sure,
            drawn=self.drawn,
        )


@dataclass(slots=True, kw_only=True)
class PolicyRun:
    """What one policy came to."""

    name: str
    seconds: float
    numbers: dict[str, Any]
    alerts: list[dict[str, Any]] = field(default_factory=list)
    notes: list[TimedNote] = field(default_factory=list)
    flows: list[Flow] = field(default_factory=list)
    depletion_at_dawn: dict[str, list[float]] = field(default_factory=dict)
    hours: Mapping[str, Sequence[HourTruth]] = field(default_factory=dict)
    dawns: dict[str, list[DawnTruth]] = field(default_factory=dict)

    def json(self) -> dict[str, Any]:
        """As `replay --json` prints it."""
        return {
            "name": self.name,
            "seconds": round(self.seconds, 2),
            **self.numbers,
            "alerts": self.alerts,
        }


class Dawns:
    """Hands out each dawn of a span once."""

    def __init__(self, garden: Garden, span: Span) -> None:
        self._garden = garden
        self._day = span.first
        self._at_s = self._dawn_s(span.first)

    def _dawn_s(self, day: date) -> float:
        info = self._garden.garden
        sun = sun_times_utc_s(info.latitude, info.longitude, day)
        return sun[0] if sun is not None else midnight_utc_s(self._garden, day) + 6 * 3600.0

    def due(self, at_utc_s: float) -> date | None:
        """The day whose dawn has come, else None."""
        if at_utc_s < self._at_s:
            return None
        today = self._day
        self._day = today + timedelta(days=1)
        self._at_s = self._dawn_s(self._day)
        return today


def prepare(
    garden: Garden,
    season: Season | str,
    *,
    first: date | None = None,
    last: date | None = None,
    seed: int = 1,
    sure: bool = False,
    picks: Picks | None = None,
) -> Replay:
    """Load the season and move the garden into its year.

    Args:
        garden: the garden file.
        season: weather at hand, or a name or path to load.
        first: first day; None for the transplanting.
        last: last day; None for the season's end.
        seed: draws an unsure world.
        sure: whether the world is exactly as the garden file says.
        picks: planned picks by bed; month and day move to the garden's growing year.

    Raises:
        SeasonError: the season cannot be used.
        UsageError: the days asked for make no span.
    """
    weather = season_for(garden, season) if isinstance(season, str) else season
    year, latitude_deg = year_in(garden, weather), garden.garden.latitude
    moved = moved_to(garden, year)
    span = span_of(moved, weather, first, last)
    days = {
        bed: tuple(sorted({in_growing_year(day, year, latitude_deg) for day in told}))
        for bed, told in (picks or {}).items()
    }
    return Replay(garden=moved, season=weather, span=span, seed=seed, sure=sure, picks=days)


def season_json(replay: Replay) -> dict[str, Any]:
    """The season as `replay --json` prints it."""
    span, days = replay.span, replay.season.daily
    inside = [day for day in days if span.first <= day.date <= span.last]
    return {
        "source": replay.season.source,
        "from": span.first.isoformat(),
        "to": span.last.isoformat(),
        "rain_mm": round(sum(day.rain_mm for day in inside), 1),
        "eto_mm": round(sum(day.eto_mm for day in inside), 1),
        "estimated": list(replay.season.estimated),
        "sure": replay.sure,
        "seed": replay.seed,
        "begins": rfc3339(span.from_utc_s),
    }
