"""`thirstline record …`: what a person felt and saw, told to the running daemon from the shell."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import click

from api import look
from api.amounts import Amount, Told, in_units_of, read_amount
from api.folders import folder_meant
from api.next_step import beside
from api.options import DAY, data_option, json_flag, print_json, say, say_next
from api.page.felt import MARK_WORDS
from api.page.typed import DEPTH, MASS, VOLUME, amount_of
from controller.us_units import Typed, in_us_units

WEIGHT = click.FloatRange(0.0, 1000.0, min_open=True)
LEAVES = {"upright": 0, "rolled": 1, "limp": 2}

garden_option = click.option(
    "--garden", default=None, help="The garden whose usual data folder is meant."
)


@click.group()
def record() -> None:
    """Tell what you felt, saw, poured, or want missed.

    Example:  thirstline record soil south just_moist --depth 20cm
    """


@record.command("soil")
@click.argument("bed")
@click.argument("feel", type=click.Choice(["dry", "just_moist", "wet"]))
@click.option(
    "--depth", type=Amount(DEPTH), default="20cm", show_default=True, help="As 20cm or 8in."
)
@garden_option
@data_option
@json_flag
def record_soil(
    bed: str, feel: str, depth: Told, garden: str | None, data: Path | None, as_json: bool
) -> None:
    """Tell how the soil feels at a depth.

    The depth is where you took it. It corrects what the bed is believed to lack.

    Example:  thirstline record soil south dry --depth 20cm
    """
    deep = in_units_of(folder_meant(garden, data), DEPTH, depth)
    _tell(bed, "soil", {"feel": feel, "depth_cm": deep.si}, garden, data, as_json, deep)


@record.command("look")
@click.argument("bed")
@click.argument("leaves", type=click.Choice(list(LEAVES)))
@click.option(
    "--when",
    type=click.Choice(["morning", "midday"]),
    default=None,
    help="When you saw them; without it just now, by the garden's clock.",
)
@garden_option
@data_option
@json_flag
def record_look(
    bed: str, leaves: str, when: str | None, garden: str | None, data: Path | None, as_json: bool
) -> None:
    """Tell how the leaves look.

    A look in the morning, before ten, teaches where this bed's stress begins. Later leaves may hang
    in the heat and be well: that teaches nothing.

    Example:  thirstline record look south rolled
    """
    seen: dict[str, object] = {"leaves": LEAVES[leaves]} | ({} if when is None else {"when": when})
    _tell(bed, "look", seen, garden, data, as_json)


@record.command("poured")
@click.argument("bed")
@click.argument("amount", type=Amount(VOLUME), required=False)
@click.option("--forget", is_flag=True, help="Take the last back.")
@garden_option
@data_option
@json_flag
def record_poured(
    bed: str,
    amount: Told | None,
    forget: bool,
    garden: str | None,
    data: Path | None,
    as_json: bool,
) -> None:
    """Tell how much you poured on a bed by hand.

    By can or hose. It counts in the bed's balance, so that the bed drinks later; it takes nothing
    from the day's limits, which are for valves. A bare number is in the garden's own unit, litres
    or gallons; 40L and 10gal say which.

    Example:  thirstline record poured south 40L
    """
    if forget:
        _tell(bed, "poured", {}, garden, data, as_json, method="DELETE")
        return
    if amount is None:
        msg = "How much? Say an amount such as 40L or 10gal, or --forget."
        raise click.UsageError(msg)
    much = in_units_of(folder_meant(garden, data), VOLUME, amount)
    _tell(bed, "poured", {"litres": much.si}, garden, data, as_json, much)


@record.command("miss")
@click.argument("bed")
@click.option("--why", default="", help="A few words for the record.")
@click.option("--forget", is_flag=True, help="Give the bed its turn back.")
@garden_option
@data_option
@json_flag
def record_miss(
    bed: str, why: str, forget: bool, garden: str | None, data: Path | None, as_json: bool
) -> None:
    """Let a bed miss its next turn.

    One night, whenever it comes; a watering of its own that runs now ends. Once past its floor the
    bed drinks all the same: a pause, on the page, keeps it dry whatever comes.

    Example:  thirstline record miss south --why "picking tomorrow"
    """
    method = "DELETE" if forget else "POST"
    _tell(bed, "miss", {"why": why}, garden, data, as_json, method=method)


@record.command("pick")
@click.argument("bed")
@click.option("--on", type=DAY, default=None, help="Today if left out.")
@click.option("--kg", type=WEIGHT, default=None, help="Its weight in kilograms.")
@click.option("--lb", type=WEIGHT, default=None, help="Its weight in pounds.")
@click.option("--cracked", type=click.IntRange(0, 10_000), default=0, help="How many fruit.")
@click.option("--black-ended", type=click.IntRange(0, 10_000), default=0, help="How many fruit.")
@click.option("--variety", default="", help="As the garden file names it.")
@click.option("--forget", is_flag=True, help="Take the plan, or that day's last pick, back.")
@garden_option
@data_option
@json_flag
def record_pick(
    bed: str,
    on: datetime | None,
    kg: float | None,
    lb: float | None,
    cracked: int,
    black_ended: int,
    variety: str,
    forget: bool,
    garden: str | None,
    data: Path | None,
    as_json: bool,
) -> None:
    """Tell a pick, or plan one.

    With --kg or --lb it goes into the season book. A day to come plans a pick, and the bed is kept
    dry for three days before it: tell it a week before. A bed that would not last drinks on the
    night before those days; in them it drinks only where its floor is near.

    Example:  thirstline record pick south --kg 6.5 --cracked 3
    """
    if kg is not None and lb is not None:
        msg = "Say --kg or --lb, not both."
        raise click.UsageError(msg)
    weight = None if kg is None else amount_of(MASS, MASS.metric, kg)
    weight = weight if lb is None else amount_of(MASS, MASS.us, lb)
    if on is None and (forget or weight is None):
        msg = "On which day? Say --on, or --kg of what was picked today."
        raise click.UsageError(msg)
    folder = folder_meant(garden, data)
    day = f"{on:%Y-%m-%d}" if on is not None else look.today(look.garden_now(folder))
    body: dict[str, object] = {"on": day}
    if weight is not None:
        fruit = {"cracked": cracked, "black_ended": black_ended, "variety": variety}
        body |= {"kg": weight.si, **fruit}
    us = not as_json and look.in_us_units(folder)
    made = look.told(folder, bed, "pick", body, "DELETE" if forget else "POST")
    typed = () if weight is None else (weight,)
    _say(made, as_json, us, typed, "why", bed, *_whose(garden, data))


@record.command("note")
@click.argument("bed")
@click.argument("text")
@garden_option
@data_option
@json_flag
def record_note(bed: str, text: str, garden: str | None, data: Path | None, as_json: bool) -> None:
    """Write a few words into the season book.

    Example:  thirstline record note south "straw laid"
    """
    folder = folder_meant(garden, data)
    made = look.told(folder, bed, "note", {"text": text})
    _say(made, as_json, False, (), "why", bed, *_whose(garden, data))


@record.command("tank")
@click.argument("holds", metavar="full|AMOUNT")
@garden_option
@data_option
@json_flag
def record_tank(holds: str, garden: str | None, data: Path | None, as_json: bool) -> None:
    """Tell that the tank was filled, or what it holds.

    Its water is counted down by what the valves gave; only your word brings it up. A bare number is
    in the garden's own unit, litres or gallons; 300L and 80gal say which.

    Example:  thirstline record tank full
    """
    folder = folder_meant(garden, data)
    body: dict[str, object] = {}
    typed: tuple[Typed, ...] = ()
    if holds.strip("0.") == "" and holds.startswith("0"):
        body = {"litres": 0.0}
    elif holds != "full":
        much = in_units_of(folder, VOLUME, read_amount(VOLUME, holds))
        body, typed = {"litres": much.si}, (much,)
    us = not as_json and look.in_us_units(folder)
    made = look.sent(folder, "tank", body, "PUT")
    then = ("status", *(() if garden is None else (garden,)), *beside(data))
    _say(made, as_json, us, typed, *then)


@record.command("forget")
@click.argument("bed")
@click.option("--why", default="", help="A few words for the record.")
@garden_option
@data_option
@json_flag
def record_forget(bed: str, why: str, garden: str | None, data: Path | None, as_json: bool) -> None:
    """Let a bed forget what it learned.

    For new soil, other plants, or probes set in another place. Gone are its full point, its thirst,
    the worth of its raw probes and what your looks taught; it begins anew from the garden file.
    `thirstline why BED` says what it learned.

    Example:  thirstline record forget south --why "new compost"
    """
    _tell(bed, "forget", {"why": why}, garden, data, as_json)


@record.command("stage")
@click.argument("bed")
@click.argument("stage", type=click.Choice(list(MARK_WORDS)))
@click.option("--on", type=DAY, default=None, help="Today if left out.")
@click.option("--forget", is_flag=True, help="Take the mark back.")
@garden_option
@data_option
@json_flag
def record_stage(
    bed: str,
    stage: str,
    on: datetime | None,
    forget: bool,
    garden: str | None,
    data: Path | None,
    as_json: bool,
) -> None:
    """Mark what you saw of the season.

    What you saw outranks the stage that was reckoned from the warmth since planting.

    Example:  thirstline record stage south first_flower --on 2026-06-12
    """
    if forget:
        _tell(bed, "stage", {"stage": stage}, garden, data, as_json, method="DELETE")
        return
    day = "" if on is None else f"{on:%Y-%m-%d}"
    _tell(bed, "stage", {"stage": stage, "on": day}, garden, data, as_json)


def _tell(
    bed: str,
    what: str,
    body: dict[str, object],
    garden: str | None,
    data: Path | None,
    as_json: bool,
    *typed: Typed,
    method: str = "POST",
) -> None:
    folder = folder_meant(garden, data)
    us = bool(typed) and not as_json and look.in_us_units(folder)
    made = look.told(folder, bed, what, body, method)
    _say(made, as_json, us, typed, "why", bed, *_whose(garden, data))


def _whose(garden: str | None, data: Path | None) -> tuple[str, ...]:
    return (*(() if garden is None else ("--garden", garden)), *beside(data))


def _say(
    made: dict[str, Any],
    as_json: bool,
    us: bool,
    typed: tuple[Typed, ...],
    *then: str,
) -> None:
    """Say what became of it, in the garden's units."""
    if as_json:
        print_json(made)
        return
    say(in_us_units(made["text"], *typed) if us else made["text"])
    say_next(*then)
