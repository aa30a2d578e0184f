"""The first day: soil by hand, what is heard, answers to a garden file, and the command `new`."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any, get_args

import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from api.cli import main
from api.first_day.answers import Answers
from api.first_day.asked import Here, Question
from api.first_day.asking import Interview, given_from
from api.first_day.hearing import Heard, hear
from api.first_day.listening import here, towns_deg
from api.first_day.questions import BED, GARDEN, garden_id
from api.first_day.reading import NotAllowedError, Soil, soil
from api.first_day.soil_by_hand import by_jar, by_ribbon, by_shares
from api.first_day.writing import garden_text
from controller.agronomy.soil import CENTROIDS_FRAC
from controller.errors import WrongUseError
from controller.garden import Garden, load_garden
from controller.garden_parts import SoilName

HERE = Here(
    today=date(2026, 5, 20),
    zone="Europe/Berlin",
    towns_deg={"Europe/Berlin": (52.5, 13.37), "America/Los_Angeles": (34.05, -118.24)},
    host="plot.local",
    us_zones=frozenset({"America/Los_Angeles"}),
)


def thirstline(*words: str, typed: str = "") -> Result:
    return CliRunner().invoke(main, words, input=typed, env={"THIRSTLINE_CLOCK": ""})


def interview(told: Mapping[str, str], heard: Heard | None = None) -> Answers:
    """Nobody is asked."""
    listen = "0" if heard is None else "5"
    return Interview(
        here=HERE,
        given={"listen": listen, **told},
        ask=None,
        say=lambda _: None,
        listen=lambda url, seconds: heard or Heard(),
    ).run()


def garden_of(answers: Answers) -> Garden:
    return Garden.model_validate(tomllib.loads(garden_text(answers)))


# -- soil by hand


@pytest.mark.parametrize("name", CENTROIDS_FRAC)
def test_the_middle_of_each_class_is_of_that_class(name: str) -> None:
    sand, clay = CENTROIDS_FRAC[name]
    assert by_shares(100.0 * sand, 100.0 * clay) == name


@given(sand=st.floats(0.0, 100.0), share=st.floats(0.0, 1.0))
def test_every_soil_has_a_class(sand: float, share: float) -> None:
    assert by_shares(sand, (100.0 - sand) * share) in get_args(SoilName)


@pytest.mark.parametrize(
    ("ribbon_cm", "rubbed", "name"),
    [
        (0.0, "neither", "loamy sand"),
        (2.0, "gritty", "sandy loam"),
        (2.4, "neither", "loam"),
        (2.5, "smooth", "silty clay loam"),
        (5.0, "neither", "clay loam"),
        (5.1, "gritty", "sandy clay"),
        (9.0, "neither", "clay"),
    ],
)
def test_a_ribbon_names_the_soil(ribbon_cm: float, rubbed: Any, name: str) -> None:
    assert by_ribbon(ribbon_cm, rubbed) == name
    assert by_ribbon(ribbon_cm, rubbed, ball=False) == "sand"


def test_a_jar_goes_by_shares_of_thickness() -> None:
    assert by_jar(4, 4, 2) == by_jar(40, 40, 20) == "loam"
    assert by_jar(9, 1, 0) == "sand"
    with pytest.raises(ValueError, match="not all 0"):
        by_jar(0, 0, 0)


@pytest.mark.parametrize("text", ["feel", "feel 3", "feel 3 wet", "feel 99 gritty", "jar 1 2", "x"])
def test_a_soil_that_cannot_be_told_says_what_is_allowed(text: str) -> None:
    if text == "feel":
        assert soil("FEEL 3 gritty") == Soil(
            "sandy clay loam", "a ribbon of 3 cm, gritty when rubbed"
        )
        return
    with pytest.raises(NotAllowedError, match="is not"):
        soil(text)


# -- what is heard

SPOKEN = [
    ("thirstline/plot/valve/south/state", b'{"open": false, "nonce": "x", "contract": 1}'),
    ("thirstline/plot/valve/master/state", b'{"open": false, "nonce": "y", "contract": 1}'),
    ("thirstline/plot/meter/main", b'{"litres_total": 12.5, "up_s": 9.0, "boot": "b"}'),
    ("thirstline/plot/weather/mast", b'{"temp_c": 21.0}'),
    ("thirstline/plot/probe/south-40", b"0.27"),
    ("plot/a1/soil", b'{"shallow": {"raw": 2310, "soil_temp_c": 18.0}, "seq": 7}'),
    ("plot/low/shallow", b"27.5"),
    ("far/senml", b'[{"n": "w", "u": "kPa", "v": 21.0}, {"n": "t", "u": "Cel", "v": 20.0}]'),
    ("noise/words", b"hello"),
    ("noise/lamp", b'{"on": true, "power": 60}'),
]


def test_what_speaks_is_named_for_what_it_is() -> None:
    heard = hear(SPOKEN)
    assert heard.garden == "plot"
    assert list(heard.valves) == ["master", "south"]
    assert heard.beds() == ["south"]
    assert (list(heard.meters), list(heard.masts)) == (["main"], ["mast"])
    told = {name: (one.kind, one.field, one.senml) for name, one in heard.probes.items()}
    assert told == {
        "a1-soil-shallow": ("raw", "/shallow/raw", None),
        "far-senml-w": ("tension_kpa", None, "w"),
        "low-shallow": ("", None, None),  # per cent or kPa: people have to say
        "south-40": ("theta_m3_m3", None, None),
    }
    assert heard.probes["south-40"].depth_cm == 40.0
    assert heard.probes_of("low") == ["low-shallow"]
    assert heard.probes_of("so") == []


def test_what_is_heard_needs_no_typing() -> None:
    answers = interview({"pulse_l": "0.1"}, hear(SPOKEN))
    garden = garden_of(answers)
    assert garden.garden.id == "plot"
    assert list(garden.beds) == ["south"]
    assert garden.beds["south"].probes == ("south-40",)
    assert garden.topic("probe", "south-40") == "thirstline/plot/probe/south-40"
    assert (garden.master, garden.meter, list(garden.weather)) == ("master", "main", ["mast"])


def test_another_id_keeps_the_topics_that_were_heard() -> None:
    told = {"id": "mine", "south.probes": "south-40,low-shallow", "low-shallow.kind": "theta_pct"}
    garden = garden_of(interview(told, hear(SPOKEN)))
    assert garden.topic("lease", "south") == "thirstline/plot/valve/south/lease"
    assert garden.topic("state", "master") == "thirstline/plot/valve/master/state"
    assert garden.topic("meter", "main") == "thirstline/plot/meter/main"
    assert garden.topic("weather", "mast") == "thirstline/plot/weather/mast"
    assert garden.topic("probe", "low-shallow") == "plot/low/shallow"


def test_a_probe_whose_unit_nobody_told_is_left_out() -> None:
    garden = garden_of(interview({"south.probes": "low-shallow"}, hear(SPOKEN)))
    assert garden.beds["south"].probes == ()


# -- answers and the file


def test_defaults_alone_make_a_garden_that_is_bounded() -> None:
    answers = interview({})
    garden = garden_of(answers)
    assert garden.garden.timezone == "Europe/Berlin"
    assert (garden.garden.latitude, garden.garden.longitude) == (52.5, 13.37)
    bed = garden.beds["bed-1"]
    assert (bed.texture, bed.transplanted) == ("sandy loam", HERE.today)
    assert garden.limits_for("bed-1").bed_l_day < 150.0
    assert garden.meter is None
    assert {"latitude", "bucket_l", "pulse_l"} <= answers.assumed
    assert "# assumed" in garden_text(answers)


def test_what_was_told_is_not_called_assumed() -> None:
    text = garden_text(interview({"plants": "24"}))
    line = next(one for one in text.splitlines() if one.startswith("plants"))
    assert line == "plants = 24"


numbers = st.floats(0.05, 5.0).map(lambda value: f"{value:.3f}")


@given(
    name=st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=80),
    beds=st.integers(1, 5),
    plants=st.integers(1, 400),
    spacing=numbers,
    lines=st.integers(1, 6),
    texture=st.sampled_from(get_args(SoilName)),
    pulse=st.sampled_from(["none", "0.1", "1"]),
    master=st.sampled_from(["yes", "no"]),
)
def test_every_allowed_answer_makes_a_file_that_is_in_order(
    name: str,
    beds: int,
    plants: int,
    spacing: str,
    lines: int,
    texture: str,
    pulse: str,
    master: str,
) -> None:
    told = {
        "name": name,
        "beds": str(beds),
        "plants": str(plants),
        "spacing_m": spacing,
        "lines": str(lines),
        "soil": texture,
        "emitters": "20",
        "pulse_l": pulse,
        "master": master,
        "phones": "yes",
    }
    garden = garden_of(interview(told))
    assert garden.garden.name == name
    assert len(garden.beds) == beds
    assert all(bed.plants == plants and bed.soil == texture for bed in garden.beds.values())
    assert (garden.master is not None) == (master == "yes")
    assert garden.page.names == ("plot.local",)


@pytest.mark.parametrize(
    ("told", "said"),
    [
        pytest.param({"plants": "many"}, "'many' is no whole number; allowed is 1 to", id="word"),
        pytest.param({"plants": "12.5"}, "12.5 is no whole number", id="half-a-plant"),
        pytest.param({"spacing_m": "nan"}, "nan is no finite number", id="nan"),
        pytest.param({"soil": "mud"}, "or feel, or jar", id="no-class"),
        pytest.param({"soil": "jar"}, "nobody can be led", id="nobody-there"),
        pytest.param({"planted": "2026-02-30"}, "is no date", id="no-day"),
        pytest.param({"timezone": "Atlantis"}, "no time zone known here", id="no-zone"),
        pytest.param({"emitters": "900"}, "at most 270 emitters", id="more-than-the-supply"),
        pytest.param({"bucket_s": "0"}, "outside 1 to 3600 s", id="no-time"),
        pytest.param({"beds": "2", "names": "one"}, "1 names; allowed are 2", id="few-names"),
        pytest.param({"names": "a b"}, "is not letters, digits", id="blank-in-a-name"),
        pytest.param({"plnts": "3"}, "the nearest is plants", id="slip"),
        pytest.param({"north.plants": "3"}, "the beds are bed-1", id="no-such-bed"),
        pytest.param({"broker": "http://x"}, "is not mqtt://host:port", id="no-broker"),
    ],
)
def test_a_given_answer_that_is_not_allowed_says_what_is(told: dict[str, str], said: str) -> None:
    with pytest.raises(WrongUseError, match=said):
        interview(told)


def test_a_file_of_answers_is_flattened() -> None:
    table = tomllib.loads("beds = 2\nphones = true\nnames = ['a', 'b']\n[a]\nprobes = []")
    assert given_from(table) == {
        "beds": "2", "phones": "yes", "names": "a,b", "a.probes": "none",
    }  # fmt: skip


def test_a_decimal_comma_is_a_number() -> None:
    assert garden_of(interview({"spacing_m": "0,6"})).beds["bed-1"].spacing_m == 0.6


@pytest.mark.parametrize("question", [*GARDEN, *BED], ids=lambda one: one.key)
def test_each_question_says_its_effect_in_one_line(question: Question) -> None:
    effects = [question.effect] + ([question.us.effect] if question.us is not None else [])
    for effect in filter(None, effects):
        assert 10 < len(effect) <= 78
        assert "\n" not in effect


# -- gallons, inches and feet


@pytest.mark.parametrize(
    ("told", "kept"),
    [
        ({"spacing_m": "24in"}, 0.6096),
        ({"spacing_m": "2 ft"}, 0.6096),
        ({"spacing_m": "60cm"}, 0.6),
        ({"spacing_m": "0.6"}, 0.6),
        ({"units": "us", "spacing_m": "0.6"}, 0.6),  # a script's key names its unit
    ],
)
def test_an_amount_may_name_its_unit(told: dict[str, str], kept: float) -> None:
    assert garden_of(interview(told)).beds["bed-1"].spacing_m == kept


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"spacing_m": "24lb"}, "with one of m, cm, in, ft behind it"),
        ({"spacing_m": "1in"}, "1 is outside 1.97 to 197 in"),
        ({"spacing_m": "5.001"}, "5.001 is outside 0.05 to 5 m"),
        ({"bucket_l": "5 m"}, "with one of L, gal, gallons behind it"),
        ({"units": "imperial"}, "metric or us"),
        ({"units": "us", "emitters": "900"}, "900 x 0.60 gal/h is 9.01 gal/min; allowed is"),
    ],
)
def test_what_is_no_such_amount_says_what_is(told: dict[str, str], said: str) -> None:
    with pytest.raises(WrongUseError, match=said):
        interview(told)


def test_the_zone_tells_which_units_are_likely() -> None:
    assert interview({}).units == "metric"
    assert interview({"timezone": "America/Los_Angeles"}).units == "us"
    assert interview({"timezone": "America/Los_Angeles", "units": "metric"}).units == "metric"
    assert {"America/New_York", "Pacific/Honolulu"} <= here({"TZ": "Europe/Berlin"}).us_zones
    assert not {"America/Toronto", "Europe/London"} & here({"TZ": "Europe/Berlin"}).us_zones


def test_a_grower_in_gallons_inches_and_feet_is_asked_and_told_so(tmp_path: Path) -> None:
    path = tmp_path / "plot.toml"
    lines = {
        "listen": "0",
        "timezone": "America/Denver",
        "units": "us",
        "bucket_l": "5",  # gallons
        "bucket_s": "86",
        "pulse_l": "0.25gal",
        "names": "south",
        "spacing_m": "24",
        "width_m": "4",
        "soil": "feel\nyes\n2\ngritty",
        "lines": "2",
        "emitters": "24",
        "probes": "south-20",
        "kind": "theta_m3_m3",
        "depth_cm": "8",
    }
    asked = [one.key for one in (*GARDEN, *BED) if one.asked] + ["kind", "depth_cm"]
    said = thirstline("new", str(path), typed="".join(f"{lines.get(key, '')}\n" for key in asked))
    assert said.exit_code == 0, said.output
    garden = load_garden(path)
    bed = garden.beds["south"]
    assert garden.garden.units == "us"
    assert (bed.spacing_m, bed.width_m, bed.soil) == (0.6096, 1.2192, "sandy clay loam")
    assert garden.supply.flow_l_min == pytest.approx(60.0 * 18.9271 / 86.0, abs=0.01)
    assert garden.meters["main"].litres_per_pulse == pytest.approx(0.9464, abs=1e-4)
    assert garden.probes["south-20"].depth_cm == 20.32
    assert bed.emitter_l_h == 2.2712
    text = path.read_text(encoding="utf-8")
    assert "# 24 in, from plant to plant" in text
    assert "# a bucket of 5 gal in 86 s" in text
    assert 'units = "us"' in text
    asked_text = said.stdout.partition("My garden (")[0]
    questions = " ".join(asked_text.split())
    assert "how many gallons does your bucket hold?" in questions
    assert "Feet from row to row" in questions
    assert "how many inches until the ribbon breaks?" in questions
    assert "[18 in]" in questions
    wrong = re.findall(r"\d ?(?:L|mm|cm|kg|L/h|litres?)\b|[Mm]etres from", said.stdout)
    assert wrong == []
    shown = [line for line in asked_text.splitlines() if "]: " not in line]  # typed keys are not
    assert all(len(line) <= 80 for line in shown)


def test_every_default_in_us_units_is_taken_as_it_stands(tmp_path: Path) -> None:
    path = tmp_path / "plot.toml"
    asked = "\n0\n\nAmerica/Denver\n" + "\n" * 30
    said = thirstline("new", str(path), typed=asked)
    assert said.exit_code == 0, said.output
    metric = tmp_path / "metric.toml"
    assert thirstline("new", str(metric), "--yes", "-a", "timezone=Europe/Berlin").exit_code == 0
    us, usual = load_garden(path), load_garden(metric)
    assert us.supply.flow_l_min <= usual.supply.flow_l_min
    assert us.limits_for("bed-1").bed_l_day <= usual.limits_for("bed-1").bed_l_day
    assert us.beds["bed-1"].emitter_l_h >= usual.beds["bed-1"].emitter_l_h, "no longer than needed"


@pytest.mark.parametrize(
    ("inches", "name"), [("0.9", "loam"), ("1", "clay loam"), ("2", "clay loam"), ("2.1", "clay")]
)
def test_the_ribbons_inches_are_the_keys(inches: str, name: str) -> None:
    found = soil(f"feel {inches}in neither")
    assert found == Soil(name, f"a ribbon of {inches} in, neither when rubbed")  # type: ignore[arg-type]


def test_a_name_makes_an_id() -> None:
    assert garden_id("Grandma's plot, north") == "grandma-s-plot-north"
    assert garden_id("菜园") == "garden"


def test_a_zone_has_a_town() -> None:
    towns = towns_deg()
    assert towns["America/Los_Angeles"] == pytest.approx((34.05, -118.24), abs=0.01)
    assert "Etc/UTC" not in towns
    far = interview({"timezone": "America/Los_Angeles"})
    assert (far.latitude, far.longitude) == (34.05, -118.24), "a town there, not one here"
    assert here({"TZ": "Europe/Berlin"}).zone == "Europe/Berlin"


# -- the command


def test_new_writes_a_file_checks_it_and_names_the_next_step(tmp_path: Path) -> None:
    path = tmp_path / "plot.toml"
    said = thirstline("new", str(path), "--yes", "-a", "plants=24")
    assert (said.exit_code, said.stderr) == (0, "")
    assert load_garden(path).beds["bed-1"].plants == 24
    assert "A plain timer" in said.stdout
    assert said.stdout.rstrip().splitlines()[-1] == f"next:  thirstline check {path}"


def test_new_never_writes_over_a_file_without_being_told(tmp_path: Path) -> None:
    path = tmp_path / "plot.toml"
    path.write_text("mine")
    said = thirstline("new", str(path), "--yes")
    assert (said.exit_code, said.stdout, path.read_text()) == (1, "", "mine")
    assert "--replace" in said.stderr
    assert thirstline("new", str(path), "--yes", "--replace").exit_code == 0
    assert load_garden(path)


def test_new_as_json_is_one_document(tmp_path: Path) -> None:
    path = tmp_path / "plot.toml"
    answers = tmp_path / "answers.toml"
    answers.write_text("beds = 2\nnames = ['a', 'b']\n[b]\nsoil = 'jar 4 4 2'\n")
    said = thirstline("new", str(path), "--yes", "--json", "--answers", str(answers))
    told = json.loads(said.stdout)
    assert told["answers"]["beds"][1]["soil"] == "loam"
    assert "soil" in told["assumed"]["beds"]["a"]
    assert "soil" not in told["assumed"]["beds"]["b"]
    assert told["next"] == f"thirstline check {path}"
    refused = thirstline("new", str(tmp_path / "x.toml"), "--json")
    assert refused.exit_code == 2


def test_a_bad_answer_is_asked_again(tmp_path: Path) -> None:
    path = tmp_path / "plot.toml"
    typed = "nowhere\n\n0\n\nEurope/Berlin\n" + "\n" * 11 + "0\n12\n" + "\n" * 9
    said = thirstline("new", str(path), typed=typed)
    assert said.exit_code == 0, said.output
    assert said.stdout.count("Where is the message broker?") == 2
    assert "'nowhere' is not mqtt://host:port." in said.stdout
    assert "0 is outside 1 to 2000." in said.stdout
    assert load_garden(path).beds["bed-1"].plants == 12


def test_a_person_is_led_through_the_ribbon_test(tmp_path: Path) -> None:
    path = tmp_path / "plot.toml"
    told = ["-a", "listen=0", "-a", "timezone=Europe/Berlin"]
    led = "feel\nmaybe\nyes\n3\ngritty\n"
    said = thirstline("new", str(path), *told, typed="\n" * 16 + led + "\n" * 9)
    assert said.exit_code == 0, said.output
    assert "'maybe' is not yes or no." in said.stdout
    assert "That is sandy clay loam." in said.stdout
    assert load_garden(path).beds["bed-1"].soil == "sandy clay loam"


def test_answers_that_end_too_soon_write_nothing(tmp_path: Path) -> None:
    path = tmp_path / "plot.toml"
    said = thirstline("new", str(path), typed="\n0\n")
    assert said.exit_code == 1
    assert "was not written" in said.stderr
    assert not path.exists()


def test_a_broker_that_nobody_answers_at_keeps_nobody_from_going_on(tmp_path: Path) -> None:
    path = tmp_path / "plot.toml"
    told = ["-a", "broker=mqtt://127.0.0.1:9", "-a", "listen=1"]
    said = thirstline("new", str(path), "--yes", *told)
    assert said.exit_code == 0
    assert "out of reach" in said.stdout
    assert load_garden(path).broker.port == 9


def test_the_questions_are_listed() -> None:
    said = thirstline("new", "--questions")
    assert all(f"{one.key} " in said.stdout for one in (*GARDEN, *BED))
    told = json.loads(thirstline("new", "--questions", "--json").stdout)
    assert [row["key"] for row in told["questions"]] == [one.key for one in (*GARDEN, *BED)]
