"""`thirstline season` and `thirstline export`: what a season came to, read from the data folder."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from api import book_csv
from api.garden_meant import garden_of
from api.options import DAY, data_option, json_flag, print_json, say
from api.orders import rfc3339
from api.page.book_words import day_words, drier_note, sentences, tested_words
from api.page.words import Tongue, bed_name
from api.whole_export import write_all
from controller.book.plain import book_json
from controller.book.season import book_of
from controller.datafolder import DataFolder, default_data_dir
from controller.errors import UsageError
from controller.garden import Garden
from controller.past import season_began_utc_s
from controller.store import open_reader

DAY_S = 86_400.0
MOST_S = 400.0 * DAY_S


@click.command()
@click.argument("garden")
@click.option("--from", "first", type=DAY, default=None, help="The first planting if left out.")
@click.option("--to", "last", type=DAY, default=None, help="The last day of the record.")
@data_option
@json_flag
def season(
    garden: str, first: datetime | None, last: datetime | None, data: Path | None, as_json: bool
) -> None:
    """Add a season up: water, dry dawns, fruit and its faults.

    Reads the data folder; the daemon may run or not.

    Example:  thirstline season garden.toml
    """
    setting, folder = _meant(garden, data)
    book = _book(setting, folder, first, last)
    print_json(book) if as_json else say(_text(setting, book))


@click.command(short_help="Write picks, waterings and hours as CSV files.")
@click.argument("garden")
@click.option("--from", "first", type=DAY, default=None, help="The first planting if left out.")
@click.option("--to", "last", type=DAY, default=None, help="The last day of the record.")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="A folder.")
@click.option("--all", "whole", is_flag=True, help="Ledger, log, readings and journal too.")
@data_option
@json_flag
def export(
    garden: str,
    first: datetime | None,
    last: datetime | None,
    out: Path,
    whole: bool,
    data: Path | None,
    as_json: bool,
) -> None:
    """Write picks, waterings and hours as CSV files; with --all everything that is kept.

    Example:  thirstline export garden.toml --out season-2026
    """
    setting, folder = _meant(garden, data)
    book = _book(setting, folder, first, last)
    files = {
        "picks.csv": book_csv.picks_csv(book),
        "waterings.csv": book_csv.waterings_csv(book),
        "hours.csv": book_csv.hours_csv(_hours(setting, folder, first, last)),
    }
    try:
        out.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            (out / name).write_text(text, encoding="utf-8", newline="")
        counts = {name: text.count("\n") - 1 for name, text in files.items()}
        counts |= write_all(folder, out) if whole else {}
    except OSError as exc:
        msg = f"{out}: cannot be written: {exc.strerror or exc}"
        raise UsageError(msg) from exc
    rows = {str(out / name): count for name, count in counts.items()}
    if as_json:
        print_json({"garden": setting.garden.id, "rows": rows})
        return
    for path, count in rows.items():
        rows_words = "row" if count == 1 else "rows"
        click.echo(f"{path}: {count} {rows_words}")  # a path stays whole


def _meant(garden: str, data: Path | None) -> tuple[Garden, DataFolder]:
    setting, _ = garden_of(garden)
    where = data if data is not None else default_data_dir(setting.garden.id, os.environ)
    return setting, DataFolder(where, make=False)


def _span(setting: Garden, first: datetime | None, last: datetime | None) -> tuple[float, float]:
    """Local days as instants; without a last one, as far as any record of a year reaches."""
    zone = setting.garden.zone
    from_s = season_began_utc_s(setting)
    if first is not None:
        from_s = first.replace(tzinfo=zone).timestamp()
    to_s = from_s + MOST_S if last is None else last.replace(tzinfo=zone).timestamp() + DAY_S
    if not 0.0 < to_s - from_s <= MOST_S:
        msg = "--from must lie before --to, at most 400 days"
        raise UsageError(msg)
    return from_s, to_s


def _book(
    setting: Garden, folder: DataFolder, first: datetime | None, last: datetime | None
) -> dict[str, Any]:
    span = _span(setting, first, last)
    with open_reader(folder) as reader:
        rows = reader.season(*span)
    return book_json(book_of(setting, rows))


def _hours(
    setting: Garden, folder: DataFolder, first: datetime | None, last: datetime | None
) -> list[dict[str, Any]]:
    from_s, to_s = _span(setting, first, last)
    with open_reader(folder) as reader:
        clock = reader.clock()
        return [
            {
                "bed": bed,
                "at": rfc3339(float(row.hour_utc_s)),
                "depletion_frac": row.depletion_frac,
                "line_frac": row.line_frac,
                "rain_mm": row.rain_mm,
                "given_l": row.given_l,
                "clock_synced": clock.at_hour(row.hour_utc_s),
            }
            for bed in setting.beds
            for row in reader.history(bed, from_s, to_s)
        ]


def _text(setting: Garden, book: dict[str, Any]) -> str:
    zone = setting.garden.zone
    tongue = Tongue(
        zone=zone,
        us=setting.garden.units == "us",
        now_utc_s=datetime.fromisoformat(book["last"]).replace(tzinfo=UTC).timestamp(),
    )
    first = book["record_begins"] or book["first"]
    lines = [
        f"{setting.garden.name}, {day_words(first)} to {day_words(book['last'])} "
        f"{book['last'][:4]}.",
        "",
        *(f"- {one}" for one in sentences(book, tongue)),
        "",
        f"{'bed':<14}{'waterings':>10}{'water':>10}{'days apart':>12}{'past line':>11}"
        f"{'picked':>10}",
    ]
    for name, bed in book["beds"].items():
        apart = bed["median_days_between"]
        kg = tongue.mass(bed["fruit"]["kg"]) if bed["fruit"]["picks"] else "-"
        lines.append(
            f"{bed_name(name)[:13]:<14}{bed['waterings']:>10}{tongue.litres(bed['litres']):>10}"
            f"{'-' if apart is None else f'{apart:.1f}':>12}{bed['dawns_past_line']:>11}{kg:>10}"
        )
    notes = (tested_words(book["beds"], tongue), drier_note(book, tongue))
    return "\n".join([*lines, *(line for one in notes if one for line in ("", one))])
