"""A replay or a sweep as one page that opens from a file, prints, and holds the numbers behind it.

Pictures first. Nothing is fetched and no script runs; the strips are pictures within the file. All
that a table says stands in the JSON at its end, which is what the command's `--json` prints.
"""

from __future__ import annotations

import base64
import json
import shlex
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from api.page.words import bed_name, count
from api.reporting.drawings import Mark, calendar, water_and_yield
from api.season_pictures import draw, named_beds
from api.season_strip import Scale, day_name
from controller.errors import UsageError
from sim.report import BEST, OURS, near_hindsight
from sim.season_run import PolicyRun, Replay, season_json
from sim.sweep_rows import code_digest
from sim.sweep_summary import AS_IN_FILE, MEASURES, Group, cell

HERE = Path(__file__).parent
REASONS_SHOWN = 14
CAUTIONS = (
    "This is a simulated garden in a real or invented season, not your soil. It says which way a"
    " change goes and about how far; it does not foretell a harvest.",
    "Soil, plants and probes of a drawn world depart from the garden file as gardens do; a sure"
    " world is exactly as the file says, which no garden is.",
    "The rivals are set up as well as they can be, and hindsight knows the whole season before it"
    " begins. Nobody can water like that.",
    "Relative yield counts water alone: neither feeding, pests, blight nor the heat is in it.",
    "A few runs show a range, not a certainty: another season may lie outside it.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """How a report came to be.

    Args:
        command: its words, as typed.
        garden: its name.
    """

    command: Sequence[str]
    garden: str

    def lines(self, world: str, notes: Iterable[str]) -> list[str]:
        """Command, program, world, and what was filled in."""
        program = f"Thirstline {version('thirstline')}, program {code_digest()}."
        return [f"Made by: {shlex.join(self.command)}", program, world, *notes]


@cache
def _template() -> Any:  # noqa: ANN401 - a template is what jinja makes of it
    environment = Environment(
        loader=FileSystemLoader(HERE),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("report.html")


def begin(path: Path) -> None:
    """See that a report can be written, before seasons are lived for it; one there is kept.

    Raises:
        UsageError: it cannot.
    """
    try:
        with path.open("a", encoding="utf-8"):
            pass
    except OSError as exc:
        msg = f"--report {path}: cannot be written: {exc.strerror or exc}"
        raise UsageError(msg) from exc


def write(path: Path, page: str) -> None:
    """Write a report.

    Raises:
        UsageError: it cannot be written there.
    """
    try:
        path.write_text(page, encoding="utf-8")
    except OSError as exc:
        msg = f"--report {path}: cannot be written: {exc.strerror or exc}"
        raise UsageError(msg) from exc


def of_replay(made: Made, replay: Replay, runs: Sequence[PolicyRun], told: Any) -> str:  # noqa: ANN401
    """A replay's page.

    Args:
        made: how it came to be.
        replay: what was replayed.
        runs: what each policy came to, one or more.
        told: what `--json` prints.
    """
    season: dict[str, Any] = season_json(replay)
    numbers = {run.name: run.json() for run in runs}
    main = next((run for run in runs if run.name == OURS), runs[0])
    span = replay.span
    world = (
        "A sure world, exactly as the garden file says."
        if replay.sure
        else f"A drawn world, seed {replay.seed}."
    )
    title = (
        f"{Path(season['source']).name}, {day_name(span.first)} to {day_name(span.last)}"
        f" {span.last.year}"
    )
    return str(
        _template().render(
            title=f"{made.garden}: {title}",
            sentences=_said(season, numbers),
            plane=water_and_yield([_mark(name, one) for name, one in numbers.items()]),
            tables=[("The season", _policy_head(), _policy_rows(numbers))],
            calendar=_calendar(replay, main),
            calendar_of=main.name,
            strips=list(_strips(replay, runs)),
            reasons=_reasons(replay, main),
            alerts=[alert["text"] for alert in main.alerts],
            cautions=CAUTIONS,
            made=made.lines(world, season["estimated"]),
            numbers=_embedded(told),
        )
    )


def of_sweep(
    made: Made,
    groups: Sequence[Group],
    less: Sequence[Group],
    words: tuple[str, str],
    told: Any,  # noqa: ANN401
) -> str:
    """A sweep's page.

    Args:
        made: how it came to be.
        groups: bands of every policy and setting, one or more.
        less: differences to the first setting, empty where there is one.
        words: what was swept, and the first setting's name.
        told: what `--json` prints.
    """
    swept, first = words
    tables = [("Median, and in brackets the whole range", _band_head(), _band_rows(groups))]
    sentences = [swept]
    if less:
        what = f"Against {first}, run by run on the same season and seed"
        tables.append((what, _band_head(), _band_rows(less, signed=True)))
        sentences += [_differs(one, first) for one in less]
    marks = [
        Mark(
            name=_group_name(one),
            litres=one.bands["litres"],
            yield_frac=one.bands["relative_yield_frac"],
            ours=one.policy == OURS,
        )
        for one in groups
    ]
    return str(
        _template().render(
            title=f"{made.garden}: many seasons",
            sentences=sentences,
            plane=water_and_yield(marks),
            tables=tables,
            calendar=None,
            calendar_of="",
            strips=[],
            reasons=[],
            alerts=[],
            cautions=CAUTIONS,
            made=made.lines(swept, ()),
            numbers=_embedded(told),
        )
    )


def _embedded(told: Any) -> Markup:  # noqa: ANN401
    """JSON that no browser takes for markup."""
    text = json.dumps(told, ensure_ascii=True, allow_nan=False)
    safe = text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return Markup(safe)  # noqa: S704 - nothing in it can end the element


def _said(season: dict[str, Any], numbers: dict[str, dict[str, Any]]) -> list[str]:
    """What it came to, in sentences."""
    found = [
        f"{season['rain_mm']:.0f} mm of rain fell and the air asked for"
        f" {season['eto_mm']:.0f} mm of a lawn."
    ]
    if OURS not in numbers:
        return found
    ours = numbers[OURS]
    past = count(ours["days_past_floor"], "dawn", "dawns")
    found.append(
        f"Thirstline gave {ours['litres']:.0f} L in"
        f" {count(ours['waterings'], 'watering', 'waterings')}: {past} past a floor,"
        f" {100.0 * ours['relative_yield']:.0f} % of the full yield."
    )
    for name in ("daily-clock", "third-day-clock", "keep-moist"):
        if name in numbers:
            rival = numbers[name]
            found.append(
                f"{name} gave {rival['litres']:.0f} L, {_more(rival['litres'] - ours['litres'])},"
                f" for {100.0 * rival['relative_yield']:.0f} % of the full yield."
            )
    if BEST in numbers:
        found.append(near_hindsight(ours, numbers[BEST]))
    return found


def _more(litres: float) -> str:
    return f"{abs(litres):.0f} L {'more' if litres >= 0.0 else 'less'}"


def _mark(name: str, one: dict[str, Any]) -> Mark:
    litres, share = one["litres"], one["relative_yield"]
    return Mark(
        name=name,
        litres=(litres, litres, litres),
        yield_frac=(share, share, share),
        ours=name == OURS,
    )


def _policy_head() -> list[str]:
    return [
        "Policy", "Litres", "Waterings", "Dawns past floor", "Sudden rewettings", "Drained",
        "Relative yield",
    ]  # fmt: skip


def _policy_rows(numbers: dict[str, dict[str, Any]]) -> list[list[str]]:
    return [
        [
            name,
            f"{one['litres']:.0f}",
            str(one["waterings"]),
            str(one["days_past_floor"]),
            str(one["sudden_rewettings"]),
            _percent(one["drained_share"]),
            _percent(one["relative_yield"]),
        ]
        for name, one in numbers.items()
    ]


def _percent(frac: float | None) -> str:
    return "-" if frac is None else f"{100.0 * frac:.1f} %"


def _scale(replay: Replay) -> Scale:
    span = replay.span
    return Scale(
        first=span.first,
        last=span.last,
        from_utc_s=span.from_utc_s,
        to_utc_s=span.to_utc_s,
        zone=replay.garden.garden.zone,
    )


def _calendar(replay: Replay, run: PolicyRun) -> Markup:
    beds = [bed for _, bed in named_beds(replay, [run])]
    return calendar(_scale(replay), [(bed.name, bed.waterings()) for bed in beds])


def _strips(replay: Replay, runs: Sequence[PolicyRun]) -> Iterable[tuple[str, str, bool]]:
    """Each bed's picture under each policy: its words, itself as a data address, whether ours."""
    for _, bed in named_beds(replay, list(runs)):
        drawn = draw(replay, bed)
        address = base64.b64encode(drawn.encode()).decode()
        said = (
            f"{bed_name(bed.name)}, watered by {bed.policy}: {bed.numbers['litres']:.0f} L in"
            f" {count(bed.numbers['waterings'], 'watering', 'waterings')}"
        )
        yield said, f"data:image/svg+xml;base64,{address}", bed.policy in {OURS, runs[0].name}


def _reasons(replay: Replay, run: PolicyRun) -> list[tuple[str, str, str]]:
    """Why it watered and why not: how often each was said, when, and the last sentence."""
    scale = _scale(replay)
    found: dict[str, list[tuple[float, str]]] = {}
    for one in run.notes:
        if one.note.what == "decision" and one.note.bed is not None:
            said = f"{bed_name(one.note.bed)}: {one.note.text}"
            found.setdefault(one.note.code, []).append((one.at_utc_s, said))
    often = sorted(found.items(), key=lambda item: -len(item[1]))[:REASONS_SHOWN]
    return [
        (
            count(len(said), "time", "times"),
            f"{day_name(scale.day(said[0][0]))} to {day_name(scale.day(said[-1][0]))}",
            said[-1][1],
        )
        for _, said in often
    ]


def _group_name(one: Group) -> str:
    return ", ".join(part for part in (one.policy, one.season, one.setting) if part)


def _band_head() -> list[str]:
    return ["Policy and setting", "Runs", *(measure.long_head.capitalize() for measure in MEASURES)]


def _band_rows(groups: Sequence[Group], *, signed: bool = False) -> list[list[str]]:
    alone = not any(one.setting for one in groups)
    return [
        [
            _group_name(one) if one.setting or alone else f"{_group_name(one)}, {AS_IN_FILE}",
            str(one.runs),
            *(cell(measure, one.bands[measure.name], signed) for measure in MEASURES),
        ]
        for one in groups
    ]


def _differs(one: Group, first: str) -> str:
    """A difference as a sentence."""
    litres, share = one.bands["litres"], one.bands["relative_yield_frac"]
    points = [100.0 * value for value in share]
    return (
        f"{_group_name(one)}: {_more(litres.median)} a season than {first}"
        f"{_range(litres, '.0f')}, yield {abs(points[0]):.1f} points"
        f" {'higher' if points[0] >= 0.0 else 'lower'}{_range(points, '.1f')}."
    )


def _range(values: Sequence[float], form: str) -> str:
    """Lowest and highest of the runs in brackets; nothing where they are one."""
    low, high = values[1:]
    return "" if low == high else f" ({low:+{form}} to {high:+{form}})"
