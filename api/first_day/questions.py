"""The questions of the first day: what is asked, what the answer changes, what is allowed.

Every default waters safely: where nobody knows, it stands for less water at a time, for a smaller
limit, or for equipment that is not there. The engine learns the rest, within those limits.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from api.first_day import reading
from api.first_day.answers import flow_l_min
from api.first_day.asked import METRIC, US, InUS, Question, Sofar
from controller.garden_checks import SUPPLY_SHARE_FRAC
from controller.garden_rules import Text
from controller.garden_ways import URL_PATTERN
from controller.us_units import in_us_units

MOST_BEDS = 32
NONE = "none"
FIVE_GAL_L, ONE_GAL_L = "18.927", "3.7854"  # a bucket and a meter as sold there: common practice


def _always(text: str) -> Callable[[Sofar], str]:
    return lambda sofar: text


def _either(metric: str, us: str) -> Callable[[Sofar], str]:
    """A text, and another one, metric too, where the grower thinks in US units."""
    return lambda sofar: us if sofar.us else metric


def _as_before(key: str, text: str, us: str = "") -> Callable[[Sofar], str]:
    """As in the bed before, else a text, metric; `us` where the grower thinks in US units."""

    def default(sofar: Sofar) -> str:
        value = sofar.before.get(key)
        if value is None:
            return us if us and sofar.us else text
        return value.name if isinstance(value, reading.Soil) else f"{value}"

    return default


def _town(axis: int) -> Callable[[Sofar], str]:
    def default(sofar: Sofar) -> str:
        town = sofar.here.towns_deg.get(sofar.garden["timezone"])
        return f"{town[axis]:.2f}" if town is not None else ("45", "0")[axis]

    return default


def garden_id(name: str) -> str:
    """The id that follows from a garden's name."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40].rstrip("-") or "garden"


def _name(sofar: Sofar) -> str:
    heard = sofar.heard.garden
    return heard.replace("-", " ").capitalize() if heard else "My garden"


def _planted(sofar: Sofar) -> str:
    return str(sofar.before.get("planted") or sofar.here.today)


def _emitters(sofar: Sofar) -> str:
    return str(sofar.bed["plants"] * sofar.bed["lines"])


def _within_supply(sofar: Sofar, emitters: int) -> str | None:
    rating = sofar.bed["emitter_l_h"]
    flow = emitters * rating / 60.0
    supply = flow_l_min(sofar.garden["bucket_l"], sofar.garden["bucket_s"])
    most = SUPPLY_SHARE_FRAC * supply
    if flow <= most:
        return None
    said = (
        f"{emitters} x {rating:g} L/h is {flow:.1f} L/min; allowed is 0 to {most:.1f} L/min, "
        f"{SUPPLY_SHARE_FRAC:g} of the supply: at most {int(60.0 * most / rating)} emitters"
    )
    return in_us_units(said) if sofar.us else said


def _some_flow(sofar: Sofar, seconds: float) -> str | None:
    flow = flow_l_min(sofar.garden["bucket_l"], seconds)
    if 0.1 <= flow <= 500.0:
        return None
    said = f"that is {flow:.3g} L/min; allowed is 0.1 to 500 L/min"
    return in_us_units(said) if sofar.us else said


def _bed_names(sofar: Sofar) -> str:
    count = sofar.garden["beds"]
    heard = sofar.heard.beds()
    return ",".join(heard if len(heard) == count else [f"bed-{n + 1}" for n in range(count)])


def _count_fits(sofar: Sofar, named: tuple[str, ...]) -> str | None:
    count = sofar.garden["beds"]
    if len(named) == count and not {"master", "main"} & set(named):
        return None
    return f"{len(named)} names; allowed are {count} different ones, none of them master or main"


def _probes(sofar: Sofar) -> str:
    found = [
        name
        for name in sofar.heard.probes_of(sofar.bed["bed"])
        if sofar.heard.probes[name].kind and name not in sofar.garden.get("taken", ())
    ]
    return ",".join(found) or NONE


def _probes_fit(sofar: Sofar, named: tuple[str, ...]) -> str | None:
    taken = next((one for one in named if one in sofar.garden.get("taken", ())), None)
    if taken is not None:
        return f"{taken} is in another bed already; a probe belongs to one bed"
    return None if len(named) <= 16 else f"{len(named)} probes; allowed are 0 to 16"


GARDEN = (
    Question(
        key="broker",
        words="Where is the message broker?",
        effect="Probes and valves speak through it. This board is the usual place.",
        read=reading.words(Text(270, URL_PATTERN, "mqtt://host:port")),
        default=_always("mqtt://127.0.0.1:1883"),
    ),
    Question(
        key="listen",
        words="For how many seconds shall I listen there for what speaks? 0: not at all",
        effect="What is heard need not be typed. Probes often speak every 10 minutes only.",
        read=reading.number(0, 3600, "s"),
        default=_always("30"),
    ),
    Question(
        key="name",
        words="What do you call the garden?",
        effect="Stands on the page and in alarms.",
        read=reading.words(Text(80)),
        default=_name,
    ),
    Question(
        key="id",
        words="Its short name in messages",
        effect="Stands in the names of all messages; each node has to know it.",
        read=reading.words(
            Text(40, r"[a-z0-9][a-z0-9-]{0,39}", "lower-case letters, digits and -")
        ),
        default=lambda sofar: sofar.heard.garden or garden_id(sofar.garden["name"]),
        asked=False,
    ),
    Question(
        key="timezone",
        words="Which time zone is it in?",
        effect="Water runs between 22:00 and sunrise there.",
        read=reading.zone,
        default=lambda sofar: sofar.here.zone,
    ),
    Question(
        key="units",
        words="Litres and metres, or gallons, inches and feet? metric or us",
        effect="These questions, page, commands and mails speak so. The file stays metric.",
        read=reading.one_of((METRIC, US)),
        default=lambda sofar: US if sofar.garden["timezone"] in sofar.here.us_zones else METRIC,
    ),
    Question(
        key="latitude",
        words="Latitude in degrees, north positive",
        effect="Gives sunrise, and what plants use where no weather is told. 1 degree will do.",
        read=reading.number(-90.0, 90.0, "degrees north"),
        default=_town(0),
    ),
    Question(
        key="longitude",
        words="Longitude in degrees, east positive",
        effect="Gives sunrise. 1 degree is 4 minutes.",
        read=reading.number(-180.0, 180.0, "degrees east"),
        default=_town(1),
    ),
    Question(
        key="elevation_m",
        words="Metres above the sea",
        effect="Thin air changes the reckoned water use a little.",
        read=reading.amount(-450.0, 5000.0, "m"),
        default=_always("100"),
        asked=False,
    ),
    Question(
        key="bucket_l",
        words="Water: how many litres does your bucket hold?",
        effect="Hold it under the end of the main line, drip lines shut off, and fill it.",
        read=reading.amount(0.5, 1000.0, "L"),
        default=_either("10", FIVE_GAL_L),
        us=InUS(
            words="Water: how many gallons does your bucket hold?",
            unit="gal",
            metric="L",
        ),
    ),
    Question(
        key="bucket_s",
        words="In how many seconds was it full?",
        effect="Bucket by seconds is the supply: beds never take more than 0.9 of it.",
        read=reading.number(1.0, 3600.0, "s"),
        default=_either("60", "120"),
        fits=_some_flow,
    ),
    Question(
        key="pulse_l",
        words="A water meter in the main line: how many litres a pulse? (or none)",
        effect="Only a meter finds a burst, a leak, a stuck valve, and measures the walk.",
        read=reading.number_or_none(0.001, 100.0, "L"),
        default=lambda sofar: _either("1", ONE_GAL_L)(sofar) if sofar.heard.meters else NONE,
        us=InUS(
            words="A water meter in the main line: how many gallons a pulse? (or none)",
            unit="gal",
            metric="L",
        ),
    ),
    Question(
        key="master",
        words="Is there a master valve upstream of the beds' valves?",
        effect="It stops the water where a bed's valve sticks open. Nothing else does.",
        read=reading.yes_no,
        default=lambda sofar: "yes" if "master" in sofar.heard.valves else "no",
    ),
    Question(
        key="phones",
        words="Shall phones in the house's network reach the page?",
        effect="If no, only this board shows it. Each phone is let in with thirstline pair.",
        read=reading.yes_no,
        default=_always("no"),
    ),
    Question(
        key="beds",
        words="How many beds are there, each with a valve of its own?",
        effect="One bed is what one valve waters.",
        read=reading.number(1, MOST_BEDS, whole=True),
        default=lambda sofar: str(len(sofar.heard.beds()) or 1),
    ),
    Question(
        key="names",
        words="Their names, with commas between them",
        effect="A bed's valve has its name; page, record and messages show it.",
        read=reading.names,
        default=_bed_names,
        fits=_count_fits,
    ),
)

BED = (
    Question(
        key="planted",
        words="On which day were its tomatoes planted out?",
        effect="Roots are reckoned from it: younger ones get less at a time, more often.",
        read=reading.day,
        default=_planted,
    ),
    Question(
        key="plants",
        words="How many plants?",
        effect="With the spacing they give the bed's size, and so its water and limits.",
        read=reading.number(1, 2000, whole=True),
        default=_as_before("plants", "12"),
    ),
    Question(
        key="spacing_m",
        words="Metres from plant to plant along the row",
        effect="Twice as far is twice the ground, and up to twice the water.",
        read=reading.amount(0.05, 5.0, "m"),
        default=_as_before("spacing_m", "0.5", us="0.4572"),
        us=InUS(
            words="Inches from plant to plant along the row",
            unit="in",
            metric="m",
        ),
    ),
    Question(
        key="width_m",
        words="Metres from row to row, the path included",
        effect="The ground that a row has to itself: what it drinks follows it.",
        read=reading.amount(0.1, 10.0, "m"),
        default=_as_before("width_m", "1.0", us="0.9144"),
        us=InUS(
            words="Feet from row to row, the path included",
            unit="ft",
            metric="m",
        ),
    ),
    Question(
        key="soil",
        words="Its soil: a class such as loam, or feel or jar to be led through a test",
        effect="How much the bed holds. Unsure: sandy loam, less at a time and more often.",
        read=reading.soil,
        default=_as_before("soil", "sandy loam"),
    ),
    Question(
        key="mulch",
        words="What covers the ground",
        effect="Straw and plastic keep the soil from drying out.",
        read=reading.one_of(("none", "straw", "plastic")),
        default=_as_before("mulch", "none"),
        asked=False,
    ),
    Question(
        key="lines",
        words="How many drip lines along each row?",
        effect="A line wets a strip of 0.5 m (20 in), each further one 0.3 m (12 in) more.",
        read=reading.number(1, 6, whole=True),
        default=_as_before("lines", "1"),
    ),
    Question(
        key="emitter_l_h",
        words="What does one emitter give, in litres an hour? It is printed on the line",
        effect="Turns litres into minutes; the walk holds it against the meter.",
        read=reading.amount(0.1, 50.0, "L/h"),
        default=_as_before("emitter_l_h", "2", us="2.2712"),
        us=InUS(
            words="What does one emitter give, in gallons an hour? It is printed on the line",
            effect="Turns gallons into minutes; the walk holds it against the meter.",
            unit="gal/h",
            metric="L/h",
        ),
    ),
    Question(
        key="emitters",
        words="How many emitters has the bed in all?",
        effect="Times the above it is the bed's flow.",
        read=reading.number(1, 10_000, whole=True),
        default=_emitters,
        fits=_within_supply,
    ),
    Question(
        key="probes",
        words="Which probes are in it? Names with commas between them, or none",
        effect="Without one the bed goes by its balance, at reduced doses, and says so.",
        read=reading.names,
        default=_probes,
        fits=_probes_fit,
    ),
)
KEYS: Mapping[str, Question] = {one.key: one for one in (*GARDEN, *BED)}

KINDS = ("raw", "theta_m3_m3", "theta_pct", "tension_kpa", "resistance_kohm", "out")


def probe_questions(name: str, said: str, kind: str, depth_cm: float) -> tuple[Question, Question]:
    """What a probe tells, and how deep it sits.

    Args:
        name: of the probe.
        said: the last that was heard of it, empty where nothing was.
        kind: what it surely tells, empty where that is open.
        depth_cm: what its name says [cm].
    """
    heard = f" It said {said}." if said else ""
    return (
        Question(
            key="kind",
            words=f"What does {name} tell?{heard} {', '.join(KINDS[:-1])}, or out: leave it out",
            effect="A wrong unit can turn dry into wet: leave it out where you are not sure.",
            read=reading.one_of(KINDS),
            default=_always(kind or "out"),
            asked=not kind,
        ),
        Question(
            key="depth_cm",
            words=f"How deep does {name} sit, in cm?",
            effect="One among the roots (20) and one near their bottom (40) see a watering pass.",
            read=reading.amount(1.0, 200.0, "cm"),
            default=_always(f"{depth_cm:g}"),
            us=InUS(
                words=f"How deep does {name} sit, in inches?",
                effect="One among the roots (8) and one near their bottom (16) see water pass.",
                unit="in",
                metric="cm",
            ),
        ),
    )
