"""The season book on the page: sentences, tables, pictures, and its CSV files."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from api import book_csv
from api.desk import Desk
from api.orders import rfc3339
from api.page import book_picture, front
from api.page.book_words import day_words, drier_note, sentences, tested_words, variety_name
from api.page.parts import desk_of, keyed_page, known_reader
from api.page.teachings import sentences as taught
from api.page.words import Tongue, bed_name, utc_s_of
from api.problems import ProblemError

DASH = "–"


def add_to(router: APIRouter) -> None:
    """Put these routes beside the others."""
    router.get("/season")(book_page)
    router.get("/season/{what}.csv")(book_file)


async def book_page(request: Request) -> Response:
    """What the season came to."""
    known_reader(request)
    desk = desk_of(request)
    view = desk.view()
    tongue = front.tongue_of(view)
    book = await asyncio.to_thread(desk.season)
    beds = book["beds"]
    learned = [(bed_name(name), taught(view["beds"][name], tongue)) for name in beds]
    context: dict[str, Any] = {
        "title": "The season book",
        "garden": view["garden"]["name"],
        "first": day_words(book["record_begins"] or book["first"]),
        "last": f"{day_words(book['last'])} {book['last'][:4]}",
        "sentences": sentences(book, tongue),
        "drier": drier_note(book, tongue),
        "tested": tested_words(beds, tongue),
        "rows": [_row(name, bed, tongue) for name, bed in beds.items()],
        "varieties": [_variety(one, tongue) for one in book["varieties"]],
        "pictures": [
            (bed_name(name), book_picture.draw(name, bed, book["first"], book["last"], tongue))
            for name, bed in beds.items()
            if bed["picks"]
        ],
        "learned": [(name, lines) for name, lines in learned if lines],
        "notes": [
            (day_words(one["on"]), bed_name(name), one["text"])
            for name, bed in beds.items()
            for one in bed["notes"]
        ],
        "a_mass": f"a {tongue.mass_short}",
        "a_mass_word": f"a {tongue.mass_word}",
        "litres": tongue.litres(sum(bed["litres"] for bed in beds.values())),
        "most": tongue.litres(sum(bed["most_litres"] for bed in beds.values())),
    }
    return keyed_page(request, "book.html", context)


def _row(name: str, bed: dict[str, Any], tongue: Tongue) -> list[str]:
    apart, driest, per_kg = (
        bed[key] for key in ("median_days_between", "driest_frac", "litres_per_kg")
    )
    return [
        bed_name(name),
        str(bed["waterings"]),
        tongue.litres(bed["litres"]),
        tongue.litres(bed["litres"] / bed["plants"]),
        DASH if apart is None else f"{apart:.1f}",
        tongue.litres(bed["by_hand_l"]),
        tongue.litres(bed["poured_l"]),
        f"{bed['dawns_past_line']} of {bed['dawns']} dawns",
        DASH if driest is None else f"{100.0 * driest:.0f} %",
        tongue.mass(bed["fruit"]["kg"]) if bed["fruit"]["picks"] else DASH,
        DASH if per_kg is None else tongue.litres(tongue.per_mass(per_kg)),
    ]


def _variety(one: dict[str, Any], tongue: Tongue) -> list[str]:
    got = one["fruit"]
    return [
        variety_name(one["variety"]),
        str(got["picks"]),
        tongue.mass(got["kg"]),
        *(
            f"{got[key]}, {tongue.per_mass(got[key] / got['kg']):.1f} a {tongue.mass_short}"
            if got[key]
            else "none"
            for key in ("cracked", "black_ended")
        ),
    ]


async def book_file(request: Request, what: str) -> Response:
    """Picks, waterings or hours as CSV."""
    known_reader(request)
    desk = desk_of(request)
    makers = {"picks": book_csv.picks_csv, "waterings": book_csv.waterings_csv}
    if what == "hours":
        text = await asyncio.to_thread(lambda: book_csv.hours_csv(hour_rows(desk)))
    elif what in makers:
        text = makers[what](await asyncio.to_thread(desk.season))
    else:
        raise ProblemError(404, "There are picks, waterings and hours.")
    headers = {
        "Content-Disposition": f'attachment; filename="{what}.csv"',
        "Cache-Control": "no-store",
    }
    return Response(text, media_type="text/csv", headers=headers)


def hour_rows(desk: Desk) -> Iterator[dict[str, Any]]:
    """Every hour of every bed since the season began."""
    view = desk.view()
    book = desk.season()
    first_s = utc_s_of(f"{book['first']}T00:00:00Z") or 0.0
    last_s = utc_s_of(view["at"]) or 0.0
    for bed in view["beds"]:
        for row in desk.history(bed, first_s, last_s):
            yield {"bed": bed, "at": rfc3339(row["at_utc_s"]), **row}
