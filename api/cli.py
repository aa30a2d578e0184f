"""The command `thirstline`: the only place that puts everything together.

What a daemon does not need for months is imported by the command that needs it.

Exit status: 0 done (also after SIGTERM or Ctrl-C, valves closed), 1 the answer is no, 2 wrong use,
3 the daemon cannot be reached. `--json` prints one JSON document on standard output, nothing else.
"""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from api import look
from api.command_group import NO, Group
from api.folders import folder_meant
from api.garden_meant import garden_of
from api.keeper import Keeper, Signals
from api.next_step import beside, command
from api.options import DEMO_SEASON, data_option, json_flag, print_json, say, say_next
from controller.clock import ScaledClock, anchor_from
from controller.datafolder import DataFolder, default_data_dir
from controller.errors import WrongUseError
from controller.garden import Garden

if TYPE_CHECKING:
    from sim.broker import EmbeddedBroker


class Seconds(click.ParamType[float]):
    """A span of real time: `40s`, `2m` or plain seconds."""

    name = "time"

    def convert(
        self,
        value: Any,  # noqa: ANN401 - as click has it
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> float:
        """Turn the text into seconds."""
        text = str(value).strip()
        factor = {"s": 1.0, "m": 60.0, "h": 3600.0}.get(text[-1:], 1.0)
        number = text[:-1] if text[-1:] in "smh" else text
        try:
            seconds = float(number) * factor
        except ValueError:
            seconds = -1.0
        if not 0.0 < seconds <= 7 * 86_400.0:
            self.fail(f"{text[:20]!r} is no span such as 40s, 2m or 1h", param, ctx)
        return seconds


DRINKING = ("watering", "soaking", "due")  # beds that are asked about first

speed_option = click.option(
    "--speed",
    type=click.FloatRange(1.0, 240.0),
    default=1.0,
    show_default=True,
    help="Trials: garden seconds in a real second.",
)


FIRST_STEPS = (
    "Water tomato beds at their first mild stress, deeply and rarely.\n\n"
    "\b\n"  # click keeps the lines below this as they are
    "Without hardware:  thirstline demo\n"
    "Your own garden:   thirstline new"
)


@click.group(cls=Group, help=FIRST_STEPS, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="thirstline", prog_name="thirstline")
def main() -> None:
    """Water tomato beds at their first mild stress, deeply and rarely."""
    logging.basicConfig(
        level=os.environ.get("THIRSTLINE_LOG", "WARNING"),
        format="%(asctime)s %(levelname)s %(name)s: %(message)s",
        stream=sys.stderr,
    )


def _quietly(as_json: bool) -> Callable[[str], None]:
    return (lambda _: None) if as_json else say


@main.command(short_help="Watch a virtual bed drink, without any hardware.")
@click.option("--speed", type=click.FloatRange(1.0, 240.0), default=240.0, show_default=True)
@click.option("--for", "seconds", type=Seconds(), default=None, help="Real time, e.g. 40s.")
@click.option("--weather", default=DEMO_SEASON, show_default=True, help="A season.")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Of the page; 0: any free.")
@json_flag
def demo(speed: float, seconds: float | None, weather: str, port: int, as_json: bool) -> None:
    """Watch a bed drink: broker, virtual garden, daemon and page, no hardware.

    Example:  thirstline demo --for 40s
    """
    from api.demo import Demo

    shown = Demo(speed=speed, season=weather, say=_quietly(as_json), port=port).run(seconds)
    if as_json:
        print_json(shown)
    else:
        say(look.summary(shown))
        say_next("new")


@main.command()
@click.argument("garden")
@data_option
@speed_option
@click.option("--port", type=click.IntRange(0, 65535), default=None, help="Of the page.")
@json_flag
def run(garden: str, data: Path | None, speed: float, port: int | None, as_json: bool) -> None:
    """Keep a garden: the daemon.

    Example:  thirstline run my-garden.toml --data /var/lib/thirstline
    """
    setting, path = garden_of(garden)
    if speed > 1.0 and not (setting.broker.builtin or setting.broker.on_loopback):
        msg = f"--speed: only with a broker on loopback; {setting.broker.url} is none"
        raise WrongUseError(msg)
    told = Told(garden, data, as_json)
    trial = speed > 1.0 or setting.broker.builtin
    keep(setting, path, _folder(setting.garden.id, data), speed, port, told, armed=trial)


@dataclass(frozen=True, slots=True)
class Told:
    """The words of one `run`, for what it says."""

    garden: str
    data: Path | None = None
    as_json: bool = False


def keep(
    garden: Garden,
    path: Path,
    folder: DataFolder,
    speed: float,
    port: int | None,
    told: Told,
    *,
    armed: bool = False,
) -> None:
    """Keep a garden until a signal.

    Args:
        garden: the validated garden file.
        path: that file.
        folder: its data folder.
        speed: garden seconds in a real second.
        port: of the page, in place of the garden file's.
        told: the words of the command.
        armed: whether valves may open without a walk.
    """
    signals = Signals()
    clock = ScaledClock(speed, anchor_from(os.environ))
    broker = _builtin_broker() if garden.broker.builtin else None
    try:
        url = broker.start().url if broker is not None else None
        keeper = Keeper(garden, folder, clock, url=url, garden_path=path, armed=armed, port=port)
        keeper.start()
        try:
            _greet(garden, keeper, told, armed=armed)
            while not signals.wait(0.2):
                keeper.tell_address()
                if signals.reload.is_set():
                    signals.reload.clear()
                    keeper.daemon.reload()
        finally:
            keeper.stop()
    finally:
        if broker is not None:
            broker.stop()
    if not told.as_json:
        say("Every valve was told to close. The record is written.")


def _builtin_broker() -> EmbeddedBroker:
    from sim.broker import EmbeddedBroker

    return EmbeddedBroker()


def _greet(garden: Garden, keeper: Keeper, told: Told, *, armed: bool) -> None:
    words = ("pair", told.garden, *beside(told.data))
    name = garden.garden.name or garden.garden.id
    link = keeper.link()
    if told.as_json:
        page = {"garden": garden.garden.id, "page": link, "data": str(keeper.daemon.folder.path)}
        print_json({**page, "armed": armed, "next": command(*words)})
        sys.stdout.flush()
        return
    say(f"{name} is kept. Page: {link}")
    if not armed:
        say("A valve opens once it was walked: thirstline walk GARDEN.")
    say("This goes on until Ctrl-C. In another terminal:")
    say_next(*words)
    sys.stdout.flush()


def _folder(garden_id: str, data: Path | None) -> DataFolder:
    return DataFolder(data if data is not None else default_data_dir(garden_id, os.environ))


@main.command(short_help="Stand in for hardware on a broker.")
@click.argument("garden")
@speed_option
@click.option("--weather", default=DEMO_SEASON, show_default=True, help="A season.")
@click.option("--depletion", multiple=True, metavar="BED=0.42", help="True depletion at the start.")
@click.option("--faults", type=click.Path(path_type=Path), help="A fault script (TOML).")
@click.option("--truth", type=click.Path(path_type=Path), help="What is true, as JSON lines.")
@click.option("--url", default=None, help="The broker, in place of the garden file's.")
@click.option("--seed", type=int, default=1, show_default=True)
@json_flag
def bench(
    garden: str,
    speed: float,
    weather: str,
    depletion: tuple[str, ...],
    faults: Path | None,
    truth: Path | None,
    url: str | None,
    seed: int,
    as_json: bool,
) -> None:
    """Stand in for hardware: virtual probes, valves, meter and mast on a broker.

    Example:  thirstline bench hollin-lane --speed 60 --depletion south=0.42
    """
    from sim.bench_trial import run_bench

    setting, _ = garden_of(garden)
    signals = Signals()
    clock = ScaledClock(speed, anchor_from(os.environ))
    words = ("run", garden, *(() if speed == 1.0 else ("--speed", f"{speed:g}")))

    def wait(seconds: float) -> bool:
        if as_json:
            told = {"garden": setting.garden.id, "clock": clock.anchor.text(), "speed": speed}
            print_json({**told, "next": command(*words)})
        else:
            say_next(*words)
        sys.stdout.flush()
        return signals.wait(seconds)

    run_bench(
        setting,
        clock,
        weather,
        depletion=depletion,
        faults=faults,
        truth=truth,
        url=url,
        seed=seed,
        say=_quietly(as_json),
        wait=wait,
    )


@main.command()
@click.argument("garden")
@json_flag
def check(garden: str, as_json: bool) -> None:
    """Read a garden file, and explain it back in numbers.

    Example:  thirstline check hollin-lane
    """
    from controller.explain import explain, render

    setting, _ = garden_of(garden)
    told = explain(setting)
    if as_json:
        print_json(look.plain(told))
    else:
        click.echo(render(told))
        say_next("run", garden)


main.later(
    "new = api.new_command:new",
    "replay = api.season_commands:replay",
    "sweep = api.sweep_command:sweep",
    "fit = api.fit_commands:fit",
    "what-if = api.fit_commands:what_if",
    "record = api.record_commands:record",
    "walk = api.walk_command:walk",
    "alarm = api.alarm_commands:alarm",
    "pair = api.pair_command:pair",
    "card = api.card_command:card",
    "season = api.book_commands:season",
    "export = api.book_commands:export",
    "backup = api.care_commands:backup",
    "restore = api.care_commands:restore_command",
    "doctor = api.doctor_command:doctor",
    "close-all = api.close_command:close_all_command",
    "broker-config = api.broker_command:broker_config",
    "install-service = api.service_command:install_service",
)


@main.command()
@click.argument("garden", required=False)
@data_option
@json_flag
def status(garden: str | None, data: Path | None, as_json: bool) -> None:
    """Say what the running daemon does.

    Example:  thirstline status --data /var/lib/thirstline
    """
    shown = look.garden_now(folder_meant(garden, data))
    if as_json:
        print_json(shown)
    else:
        say(look.summary(shown))
        first = min(shown["beds"], key=lambda bed: shown["beds"][bed]["state"] not in DRINKING)
        whose = () if garden is None else ("--garden", garden)
        say_next("why", first, *whose, *beside(data))


@main.command(short_help="Say why a bed is watered or not.")
@click.argument("bed")
@click.option("--garden", default=None, help="Whose default data folder.")
@data_option
@json_flag
def why(bed: str, garden: str | None, data: Path | None, as_json: bool) -> None:
    """Say why a bed is watered or not, with the numbers behind it.

    Example:  thirstline why south
    """
    shown = look.garden_now(folder_meant(garden, data))
    bed = next((name for name in shown["beds"] if name.lower() == bed.lower()), bed)
    if bed not in shown["beds"]:
        from difflib import get_close_matches

        known = ", ".join(shown["beds"])
        msg = f"{bed[:40]!r}: there is no such bed; the beds are {known}"
        whose = () if garden is None else ("--garden", garden)
        likely = get_close_matches(bed.lower(), list(shown["beds"]), n=1) or [*shown["beds"]]
        raise WrongUseError(msg, ("why", likely[0], *whose, *beside(data)))
    if as_json:
        print_json({"bed": bed, **shown["beds"][bed], "sky": shown.get("sky", {})})
    else:
        say(look.why(bed, shown))
        say_next("record", "--help")


@main.command(short_help="Feed the journal to a fresh engine and compare.")
@click.argument("garden", required=False)
@data_option
@json_flag
def verify(garden: str | None, data: Path | None, as_json: bool) -> None:
    """Feed the journal to a fresh engine and compare its decisions.

    Example:  thirstline verify --data /var/lib/thirstline
    """
    found = look.verified(folder_meant(garden, data))
    if as_json:
        print_json(look.plain(found))
    else:
        say(look.verified_text(found))
    if found.differs_at is not None or found.damaged is not None:
        raise SystemExit(NO)


if __name__ == "__main__":
    main()
