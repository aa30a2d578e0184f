"""A season's record out of the daemon's own store: readings, openings, water by hand, weather.

Readings stand in the journal as far as it reaches, and before that as hours; openings stand in the
ledger for ever. Readings are turned into content by the garden file's calibration; those of
tension probes and of uncalibrated ones tell no content and are left out, and said. A probe's hours
count only within the weather that is known.
"""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

from controller.datafolder import DataFolder
from controller.errors import SeasonError, StoreError
from controller.garden import Garden
from controller.sensing.calibration import water_scale
from controller.store import open_reader
from controller.store_reads import Reader
from sim.season_own import own_season
from sim.season_types import Place
from sim.winter.fitting.observed import BedSeen, Observed, ProbeHours, Water
from sim.winter.fitting.spans import span_within

POURED_S = 600.0  # [s] in which water poured by hand is taken to arrive; ours
SHORTEST_S = 60.0  # [s] an opening is spread over at least this; ours

Openings = dict[str, list[tuple[float, float, float]]]


def from_store(garden: Garden, database: Path) -> Observed:
    """Read a season.

    Args:
        garden: the garden file.
        database: the store's file, or the data folder that holds it.

    Returns:
        The record between the transplanting and the end of the known weather.

    Raises:
        SeasonError: no store, or too little weather in it.
    """
    info = garden.garden
    place = Place(
        latitude_deg=info.latitude,
        longitude_deg=info.longitude,
        elevation_m=info.elevation_m,
        timezone=info.timezone,
    )
    season = own_season(database, place)
    folder = DataFolder(database if database.is_dir() else database.parent, make=False)
    moved, span = span_within(garden, season)
    begin, end = span.from_utc_s, span.to_utc_s
    try:
        with open_reader(folder) as reader:
            rows = reader.season(begin, end)
            openings = _openings(reader, begin, end)
            hours = _hours(reader, begin, end)
    except StoreError as exc:
        msg = f"own: {exc}"
        raise SeasonError(msg) from exc
    poured: dict[str, list[Water]] = defaultdict(list)
    for told in rows.told:
        litres = told.numbers.get("given_l", 0.0)
        if told.bed is not None and told.code in ("poured", "not_poured") and litres:
            _pour(poured[told.bed], told.at_utc_s, litres)
    notes = list(season.estimated)
    beds = {
        bed: _bed(moved, bed, openings.get(bed, []), poured[bed], hours, notes)
        for bed in moved.beds
    }
    return Observed(
        garden=moved,
        season=season,
        from_utc_s=begin,
        to_utc_s=end,
        beds=beds,
        source=str(folder.database),
        notes=tuple(notes),
    )


def _pour(poured: list[Water], at_utc_s: float, litres: float) -> None:
    """Take in a word of poured water; what is taken back is the last that was told."""
    if litres > 0.0:
        poured.append(Water(from_utc_s=at_utc_s, to_utc_s=at_utc_s + POURED_S, litres=litres))
    elif poured:
        poured.pop()


def _openings(reader: Reader, begin: float, end: float) -> Openings:
    """Begin, length and litres of each opening, by bed."""
    found: Openings = defaultdict(list)
    for bed, from_utc_s, open_s, litres in reader.openings(begin, end):
        found[bed].append((from_utc_s, max(SHORTEST_S, open_s), litres))
    return found


def _hours(reader: Reader, begin: float, end: float) -> dict[str, dict[int, tuple[float, int]]]:
    """Mean value as told and number of readings, by probe and hour."""
    found: dict[str, dict[int, tuple[float, int]]] = defaultdict(dict)
    for probe, hour_utc_s, value, many in reader.probe_hours(begin, end):
        before, had = found[probe].get(hour_utc_s, (0.0, 0))
        whole = had + many
        found[probe][hour_utc_s] = ((before * had + value * many) / whole, whole)
    return found


def _bed(
    garden: Garden,
    bed: str,
    openings: list[tuple[float, float, float]],
    poured: list[Water],
    hours: dict[str, dict[int, tuple[float, int]]],
    notes: list[str],
) -> BedSeen:
    valve = [
        Water(from_utc_s=at_s, to_utc_s=at_s + open_s, litres=litres)
        for at_s, open_s, litres in openings
        if litres > 0.0
    ]
    probes = []
    for probe in garden.beds[bed].probes:
        scale = water_scale(garden.probes[probe])
        told = [(hour, scale(value)) for hour, (value, _) in sorted(hours[probe].items())]
        known = [(hour, theta) for hour, theta in told if theta is not None]
        if not known:
            notes.append(f"{probe}: no reading that tells water content; left out")
            continue
        probes.append(
            ProbeHours(
                probe=probe,
                hour_utc_s=tuple(hour for hour, _ in known),
                theta_m3_m3=tuple(theta for _, theta in known),
            )
        )
    return BedSeen(
        water=tuple(sorted([*valve, *poured], key=lambda one: one.from_utc_s)),
        probes=tuple(probes),
        open_s=sum(open_s for _, open_s, litres in openings if litres > 0.0),
        valve_l=sum(one.litres for one in valve),
    )
