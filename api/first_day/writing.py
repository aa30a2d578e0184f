"""Writes answers as a garden file that explains itself. Pure: answers in, text out."""

from __future__ import annotations

import json
from collections.abc import Iterator

from api.first_day import amounts
from api.first_day.answers import Answers, BedAnswer, ProbeAnswer
from api.first_day.asked import US

COLUMN = 33  # where comments begin
GUESS = "assumed: "


def garden_text(answers: Answers) -> str:
    """Write the file.

    Returns:
        TOML with a comment on each line that needs one; ends with a line end.
    """
    parts = (
        _head(answers),
        _supply(answers),
        *(_bed(answers, bed) for bed in answers.beds),
        _devices(answers),
        _rest(),
    )
    return "\n".join("\n".join(part) + "\n" for part in parts)


def _line(key: str, value: object, comment: str = "", *, assumed: bool = False) -> str:
    said = (f"{GUESS if assumed else ''}{comment}").rstrip(": ")
    plain = f"{key} = {_toml(value)}"
    return f"{plain:<{COLUMN - 1}} # {said}" if said else plain


def _said(answers: Answers, value: float, metric: str, unit: str, comment: str) -> str:
    """A comment, with the amount before it as the grower thinks of it."""
    if answers.units != US:
        return comment
    return ", ".join(filter(None, [amounts.said(value, metric, unit), comment]))


def _toml(value: object) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _head(answers: Answers) -> Iterator[str]:
    place = bool({"latitude", "longitude"} & answers.assumed)
    yield f"# The garden file of {answers.name}, written by `thirstline new`. It is yours: change"
    yield "# what you like. Everything is metric. `thirstline check` reads it and explains it back."
    if answers.units == US:
        yield "# What you know in gallons, inches and feet stands behind it."
    yield ""
    yield "[garden]"
    yield _line("id", answers.garden_id, "stands in the names of all messages")
    yield _line("name", answers.name)
    yield _line("latitude", answers.latitude, "degrees north", assumed=place)
    yield _line("longitude", answers.longitude, "degrees east; west is negative", assumed=place)
    yield _line(
        "elevation_m",
        answers.elevation_m,
        "metres above the sea",
        assumed="elevation_m" in answers.assumed,
    )
    yield _line("timezone", answers.timezone, assumed="timezone" in answers.assumed)
    yield _line(
        "units", answers.units, "metric or us, as people speak", assumed="units" in answers.assumed
    )
    yield _line("beds_at_once", 1, "no more than so many drink together")
    yield _line("hours", "22:00-sunrise", "dark hours, so that leaves stay dry by day")
    yield '# frost_lock = ["11-01", "03-31"]  # no water at all between these days'
    yield ""
    yield "[broker]"
    yield _line("url", answers.broker)
    yield '# username = "thirstline"         # where the broker asks who you are'
    yield '# password_file = "/etc/thirstline/broker/broker.pass"'
    yield ""
    yield "[page]"
    if answers.page_name:
        yield _line("listen", "0.0.0.0:8470", "phones in the house's network reach it")
        yield _line("names", [answers.page_name], "every name and address that people type")
    else:
        yield _line("listen", "127.0.0.1:8470", "only this machine; 0.0.0.0:8470 for phones")
        yield '# names = ["garden.local"]        # every name and address that people type'


def _bucket(answers: Answers) -> str:
    return amounts.said(answers.bucket_l, "L", "gal" if answers.units == US else "L")


def _supply(answers: Answers) -> Iterator[str]:
    bucket = {"bucket_l", "bucket_s"} & answers.assumed
    yield "[supply]"
    yield _line(
        "flow_l_min",
        round(answers.flow_l_min, 2),
        f"a bucket of {_bucket(answers)} in {answers.bucket_s:g} s",
        assumed=bool(bucket),
    )
    if answers.pulse_l is not None:
        yield _line("meter", answers.meter)
    else:
        yield '# meter = "main"                  # none: bursts, leaks, stuck valves go unseen'
    yield "# shared = true                  # others use this water too"
    yield "# tank_l = 1000                  # it comes from a tank of so many litres"


def _bed(answers: Answers, bed: BedAnswer) -> Iterator[str]:
    def line(key: str, value: object, comment: str = "", *asked: str) -> str:
        return _line(key, value, comment, assumed=bool(set(asked or (key,)) & bed.assumed))

    def said(value: float, metric: str, unit: str, comment: str) -> str:
        return _said(answers, value, metric, unit, comment)

    apart = said(bed.spacing_m, "m", "in", "from plant to plant along the row")
    wide = said(bed.width_m, "m", "ft", "ground that the row has to itself, path included")
    litres = "each" if answers.units == US else "litres an hour, each"
    each = said(bed.emitter_l_h, "L/h", "gal/h", litres)
    yield f"[beds.{bed.name}]"
    yield _line("crop", "tomato")
    yield '# habit = "determinate"           # bush types; else staked and picked to frost'
    yield line("transplanted", bed.planted, "", "planted")
    yield line("plants", bed.plants)
    yield line("spacing_m", bed.spacing_m, apart)
    yield line("width_m", bed.width_m, wide)
    yield line("soil", bed.soil, bed.soil_by if "soil" not in bed.assumed else "feel or jar tells")
    yield line("mulch", bed.mulch, "none, straw or plastic")
    yield line("lines", bed.lines, "drip lines along the row")
    yield line("emitters", bed.emitters, "all of this bed")
    yield line("emitter_l_h", bed.emitter_l_h, each)
    yield _line("valve", bed.name)
    yield _line("probes", [probe.name for probe in bed.probes])
    yield "# lean = 0.5                      # 0 lush ... 1 lean: how far it may dry"
    for probe in bed.probes:
        yield ""
        yield from _probe(answers, probe)
    yield ""
    yield f"[valves.{bed.name}]"
    yield from _valve_topics(bed.valve_topic)


def _probe(answers: Answers, probe: ProbeAnswer) -> Iterator[str]:
    yield f"[probes.{probe.name}]"
    if probe.topic:
        yield _line("topic", probe.topic)
    if probe.field is not None:
        yield _line("field", probe.field, "where in its message the number stands")
    if probe.senml is not None:
        yield _line("senml", probe.senml)
    yield _line("kind", probe.kind, f"it said {probe.said}" if probe.said else "")
    yield _line("depth_cm", probe.depth_cm, _said(answers, probe.depth_cm, "cm", "in", ""))
    if probe.kind == "raw":
        yield "# calibration = [[2900, 0.04], [1350, 0.42]]  # else two dry spells teach it"


def _valve_topics(state: str) -> Iterator[str]:
    """The three topics of a valve whose state was heard elsewhere than usual."""
    if state:
        base = state.rpartition("/")[0]
        inside = ", ".join(f'{step} = "{base}/{step}"' for step in ("lease", "close", "state"))
        yield f"topics = {{ {inside} }}"


def _devices(answers: Answers) -> Iterator[str]:
    if answers.master:
        yield f"[valves.{answers.master}]"
        yield _line("role", "master", "upstream: stops the water where a bed's valve sticks")
        yield from _valve_topics(answers.master_topic)
    else:
        yield "# [valves.master]                 # none: nothing stops a valve that sticks open"
        yield '# role = "master"'
    if answers.pulse_l is not None:
        yield ""
        yield f"[meters.{answers.meter}]"
        if answers.meter_topic:
            yield _line("topic", answers.meter_topic)
        assumed = "pulse_l" in answers.assumed
        each = _said(answers, answers.pulse_l, "L", "gal", "printed on it")
        yield _line("litres_per_pulse", answers.pulse_l, each, assumed=assumed)
    yield ""
    if answers.mast:
        yield f"[weather.{answers.mast}]"
        if answers.mast_topic:
            yield _line("topic", answers.mast_topic)
    else:
        yield "# [weather.mast]                  # none: water use goes by the month's normals"


def _rest() -> Iterator[str]:
    yield "# [limits]                         # else they follow from the beds; check tells them"
    yield "# bed_l_day = 300"
    yield ""
    yield "# [alarm]                          # how you are called when you are needed"
    yield '# mail = { host = "…", user = "…", password_file = "…", to = ["…"] }'
