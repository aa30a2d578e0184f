"""`thirstline walk`: the commissioning walk from the shell, through the running daemon."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from api import look
from api.folders import folder_meant
from api.next_step import beside
from api.options import DAY, data_option, json_flag, print_json, say, say_next
from controller.datafolder import DataFolder
from controller.proving.walk_orders import DEVICES, TESTABLE
from controller.us_units import for_people

POLL_S = 0.7  # [s] real: a picture of the daemon is half a second old at most
READY_WITHIN_S = 300.0  # [s] real: the quiet start lasts two and a half minutes
NO = 1


@click.command()
@click.argument("garden")
@data_option
@click.option("--yes", is_flag=True, help="Ask nobody: the meter has to agree. For benches.")
@click.option("--bed", default=None, help="Walk this bed, walked already or not.")
@click.option(
    "--device",
    type=click.Choice(list(DEVICES)),
    metavar="DEVICE",
    default=None,
    help=f"Against backflow: {', '.join(DEVICES)}.",
)
@click.option("--tested", type=DAY, default=None, help="That device.")
@json_flag
def walk(
    garden: str,
    data: Path | None,
    yes: bool,
    bed: str | None,
    device: str | None,
    tested: Any,  # noqa: ANN401 - a datetime or None, as click has it
    as_json: bool,
) -> None:
    """Walk the valves: prove each one before it may water.

    The daemon has to run. Be where you can see the beds: each valve opens for about two minutes,
    and you are asked what got wet. Stopped half-way it goes on where it was.

    Example:  thirstline walk my-garden.toml
    """
    if as_json and not yes:
        msg = "--json asks nobody: it needs --yes."
        raise click.UsageError(msg)
    folder = folder_meant(garden, data)
    units = _wait_ready(folder, (lambda _: None) if as_json else say)
    tell: Callable[[str], None] = (
        (lambda _: None) if as_json else lambda text: say(for_people(text, units))
    )
    on = "" if tested is None else f"{tested:%Y-%m-%d}"
    _tell_backflow(folder, device, on, tell, ask=not yes)
    body: dict[str, object] = {"yes": yes, **({} if bed is None else {"bed": bed})}
    tell(look.sent(folder, "walk", body)["text"])
    shown = _follow(folder, tell, ask=not yes)
    beds = shown["beds"] if bed is None else {bed: shown["beds"][bed]}
    proved = all(one["armed"] and one["verdict"] == "ok" for one in beds.values())
    if as_json:
        print_json(shown)
    else:
        _report(shown, tell)
        say_next("status" if proved else "walk", garden, *beside(data))
    if not proved:
        raise SystemExit(NO)


def _wait_ready(folder: DataFolder, tell: Callable[[str], None]) -> str:
    """Wait for the end of the quiet start.

    Returns:
        The units that the garden is spoken of in, `metric` or `us`.
    """
    end_s, told = time.monotonic() + READY_WITHIN_S, False
    while True:
        shown = look.garden_now(folder)
        if shown["ready"] or time.monotonic() >= end_s:
            return str(shown.get("garden", {}).get("units", "metric"))
        if not told:
            tell("The daemon has just started: nothing opens in the first minutes. Waiting.")
            told = True
        time.sleep(POLL_S)


def _tell_backflow(
    folder: DataFolder, device: str | None, on: str, tell: Callable[[str], None], *, ask: bool
) -> None:
    """The backflow question, unless it is answered already."""
    if device is None and ask and look.garden_now(folder)["walk"]["backflow"] is None:
        tell("What keeps water of the beds out of the drinking water?")
        device = click.prompt("Backflow device", type=click.Choice(list(DEVICES)))
        if device in TESTABLE and not on:
            on = click.prompt("Tested on (like 2026-04-20)")
    if device is not None:
        tell(look.sent(folder, "walk/backflow", {"device": device, "tested": on})["text"])


def _follow(folder: DataFolder, tell: Callable[[str], None], *, ask: bool) -> dict[str, Any]:
    """Say what happens until the walk is over, and pass answers on."""
    last = ""
    while True:
        time.sleep(POLL_S)
        shown: dict[str, Any] = look.garden_now(folder)["walk"]
        now = shown["now"]
        if now is None or now["kind"] != "walk":
            return shown
        if now["text"] != last:
            last = str(now["text"])
            if now["asks"] is None:
                tell(last)
        if now["asks"] is not None and ask:
            right = click.confirm(last)
            body = {"right": right, "bed": now["asks"]}
            tell(look.sent(folder, "walk/answer", body)["text"])


def _report(shown: dict[str, Any], tell: Callable[[str], None]) -> None:
    for told in shown["beds"].values():
        tell(told["text"])
    if shown["backflow"] is not None:
        tell(shown["backflow"]["text"])
    tell(shown["said"])
