"""The first day: soil by hand, what is heard, answers to a garden file, and the command `new`."""

from __future__ import annotations

import json
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
from api.first_day.asking import Interview, given_from
from api.first_day.hearing import Heard, hear
from api.first_day.listening import here, town_of
from api.first_day.questions import BED, GARDEN, Here, Question, garden_id
from api.first_day.reading import NotAllowedError, Soil, soil
from api.first_day.soil_by_hand import by_jar, by_ribbon, by_shares
from api.first_day.writing import garden_text
from controller.agronomy.soil import CENTROIDS_FRAC
from controller.errors import WrongUseError
from controller.garden import Garden, load_garden
from controller.garden_parts import SoilName

HERE = Here(
    today=date(2026, 5, 20), zone="Europe/Berlin", town_deg=(52.5, 13.37), host="plot.local"
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
    assert 10 < len(question.effect) <= 78
    assert "\n" not in question.effect


def test_a_name_makes_an_id() -> None:
    assert garden_id("Grandma's plot, north") == "grandma-s-plot-north"
    assert garden_id("菜园") == "garden"


def test_a_zone_has_a_town() -> None:
    town = town_of("America/Los_Angeles")
    assert town == pytest.approx((34.05, -118.24), abs=0.01)
    assert town_of("Etc/UTC") is None
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
    typed = "nowhere\n\n0\n\nEurope/Berlin\n" + "\n" * 10 + "0\n12\n" + "\n" * 9
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
    said = thirstline("new", str(path), *told, typed="\n" * 15 + led + "\n" * 9)
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
