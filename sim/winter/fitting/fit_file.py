"""The file that a fit leaves: JSON with all that a what-if needs - garden, weather, posterior.

`kind` and `version` say what it is; a file of another kind or version is refused. `garden_digest`
is that of the garden file as it was read. Contents in m3/m3, litres in L, instants in Unix seconds
UTC; coordinates `z` and their covariance are those of `priors`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from controller.errors import UsageError
from controller.garden import Garden
from sim.draws import Placing, Sits
from sim.season_types import Day, Place, Season, WorldHour
from sim.sweep_rows import digest_of
from sim.winter.fitting.driven import Numbers
from sim.winter.fitting.observed import Observed
from sim.winter.fitting.priors import Quantity, quantities
from sim.winter.fitting.season_fit import BedResult

KIND = "thirstline fit"
VERSION = 1
Z_90 = 1.6449  # standard deviations to either end of the middle 90 %
HOUR_COLUMNS = ("at_utc_s", "temp_c", "rh_pct", "rain_mm", "solar_w_m2", "wind_m_s")
DAY_COLUMNS = ("start_utc_s", "tmin_c", "tmax_c", "rain_mm", "eto_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class BedPosterior:
    """What a fit file says of a fitted bed.

    Args:
        probes: in the order of the coordinates.
        z: the most likely point.
        covariance: of the coordinates.
        places: probes that sit elsewhere than told.
        flow_off_frac: what the valve gave over what was bought [-].
    """

    probes: tuple[str, ...]
    z: Numbers
    covariance: Numbers
    places: Mapping[str, Placing]
    flow_off_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FitFile:
    """A fit as read back.

    Args:
        document: the garden file's tables.
        garden_digest: of the garden as it was read.
        season: the weather.
        from_utc_s, to_utc_s: what was fitted [Unix s UTC].
        source: where the record came from.
        beds: those that were fitted.
        refused: the others, with the reason.
    """

    document: Mapping[str, Any]
    garden_digest: str
    season: Season
    from_utc_s: float
    to_utc_s: float
    source: str
    beds: Mapping[str, BedPosterior]
    refused: Mapping[str, str]

    @property
    def garden(self) -> Garden:
        """The garden as it was."""
        return Garden.model_validate(dict(self.document))

    @property
    def last(self) -> date:
        """The last local day that was fitted."""
        zone = ZoneInfo(self.season.place.timezone)
        return datetime.fromtimestamp(self.to_utc_s - 1.0, tz=zone).date()


def told_of(result: BedResult) -> dict[str, Any]:
    """One bed's result as plain values."""
    if result.fit is None:
        return {"refused": result.refused, "flow_off_frac": round(result.flow_off_frac, 5)}
    fit, sd = result.fit, np.sqrt(np.diag(result.fit.covariance))
    named = quantities(fit.probes)
    learned = {
        name: _quantity(one, float(z), float(width)) | {"learned": name not in result.unlearned}
        for (name, one), z, width in zip(named, fit.z, sd, strict=True)
    }
    score = result.held_back
    return {
        "quantities": learned,
        "unlearned": list(result.unlearned),
        "probes": list(fit.probes),
        "places": {
            probe: {"sits": str(one.sits), "deeper_cm": one.deeper_cm}
            for probe, one in result.places.items()
        },
        "left_m3_m3": {probe: round(value, 5) for probe, value in fit.left_m3_m3.items()},
        "alike": {probe: round(value, 3) for probe, value in fit.alike.items()},
        "held_back": None if score is None else asdict(score) | {"skill": round(score.skill, 3)},
        "flow_off_frac": round(result.flow_off_frac, 5),
        "runs": fit.runs,
        "z": [round(float(one), 5) for one in fit.z],
        "covariance": [[round(float(cell), 8) for cell in row] for row in fit.covariance],
    }


def _quantity(one: Quantity, z: float, width: float) -> dict[str, Any]:
    """One quantity's most likely value and its 90 % interval."""
    return {
        "most_likely": round(one.value(z), 6),
        "low_90": round(one.value(one.inside(z - Z_90 * width)), 6),
        "high_90": round(one.value(one.inside(z + Z_90 * width)), 6),
        "prior_sd": round(one.prior_sd, 6),
    }


def as_document(
    observed: Observed, document: Mapping[str, Any], results: Sequence[BedResult]
) -> dict[str, Any]:
    """The whole fit file.

    Args:
        observed: the record.
        document: the garden file's tables, as read.
        results: of each bed.
    """
    season = observed.season
    text = json.dumps(document, default=_day)
    return {
        "kind": KIND,
        "version": VERSION,
        "garden": observed.garden.garden.id,
        "garden_digest": garden_digest(Garden.model_validate(json.loads(text))),
        "source": observed.source,
        "notes": list(observed.notes),
        "from_utc_s": observed.from_utc_s,
        "to_utc_s": observed.to_utc_s,
        "beds": {one.bed: told_of(one) for one in results},
        "garden_file": json.loads(text),
        "weather": {
            "source": season.source,
            "place": asdict(season.place),
            "reported": sorted(season.reported),
            "estimated": list(season.estimated),
            "hour_columns": list(HOUR_COLUMNS),
            "hours": [[getattr(one, name) for name in HOUR_COLUMNS] for one in season.hours],
            "day_columns": ["date", *DAY_COLUMNS],
            "days": [
                [one.date.isoformat(), *(getattr(one, name) for name in DAY_COLUMNS)]
                for one in season.daily
            ],
        },
    }


def garden_digest(garden: Garden) -> str:
    """Digest of a garden file's values."""
    return digest_of(garden.model_dump_json())


def _day(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    msg = f"{value!r} has no place in a fit file"
    raise TypeError(msg)


def write(path: Path, document: Mapping[str, Any]) -> None:
    """Write a fit file.

    Raises:
        UsageError: it cannot be written.
    """
    try:
        path.write_text(json.dumps(document, allow_nan=False) + "\n", encoding="utf-8")
    except OSError as exc:
        msg = f"{path}: cannot be written: {exc.strerror or exc}"
        raise UsageError(msg) from exc


def read(path: Path) -> FitFile:
    """Read a fit file.

    Raises:
        UsageError: it cannot be read, or is not one of this version.
    """
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as exc:
        msg = f"{path}: cannot be read as a fit file: {exc}; `thirstline fit` writes one"
        raise UsageError(msg) from exc
    if not isinstance(told, dict) or told.get("kind") != KIND:
        msg = f"{path}: is no fit file; `thirstline fit GARDEN --out FILE` writes one"
        raise UsageError(msg)
    if told.get("version") != VERSION:
        msg = (
            f"{path}: is a fit file of version {told.get('version')!r}, version {VERSION} is read"
            " here; fit the season again"
        )
        raise UsageError(msg)
    try:
        return _read(told)
    except (KeyError, TypeError, ValueError) as exc:
        msg = f"{path}: is a damaged fit file: {exc!r}; fit the season again"
        raise UsageError(msg) from exc


def _read(told: dict[str, Any]) -> FitFile:
    return FitFile(
        document=told["garden_file"],
        garden_digest=told["garden_digest"],
        season=_season(told["weather"]),
        from_utc_s=told["from_utc_s"],
        to_utc_s=told["to_utc_s"],
        source=told["source"],
        beds={name: _posterior(one) for name, one in told["beds"].items() if "z" in one},
        refused={n: one["refused"] for n, one in told["beds"].items() if "refused" in one},
    )


def _posterior(one: dict[str, Any]) -> BedPosterior:
    return BedPosterior(
        probes=tuple(one["probes"]),
        z=np.array(one["z"], dtype=float),
        covariance=np.array(one["covariance"], dtype=float),
        places={
            probe: Placing(sits=Sits(at["sits"]), deeper_cm=at["deeper_cm"])
            for probe, at in one["places"].items()
        },
        flow_off_frac=one["flow_off_frac"],
    )


def _season(weather: dict[str, Any]) -> Season:
    return Season(
        source=weather["source"],
        place=Place(**weather["place"]),
        hours=tuple(
            WorldHour(**dict(zip(HOUR_COLUMNS, row, strict=True))) for row in weather["hours"]
        ),
        reported=frozenset(weather["reported"]),
        estimated=tuple(weather["estimated"]),
        daily=tuple(
            Day(
                date=date.fromisoformat(row[0]),
                **dict(zip(DAY_COLUMNS, row[1:], strict=True)),
            )
            for row in weather["days"]
        ),
    )
