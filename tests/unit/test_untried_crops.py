"""Crops other than tomato: a handbook's line, a floor a little past it, and said to be untried."""

from __future__ import annotations

import copy
import tomllib
from datetime import UTC, datetime

import pytest

from api.look import untried_words
from controller.agronomy.crop import (
    FLOOR_HIGHEST_FRAC,
    LINES_FRAC,
    Stage,
    line_and_floor,
    load_crops,
    untried,
)
from controller.engine import Engine
from controller.events import Started
from controller.explain import explain, render
from controller.garden import Garden
from controller.view import picture
from sim.examples import find_garden

OTHERS = [name for name in load_crops() if name != "tomato"]
START_UTC_S = datetime(2026, 7, 1, 12, tzinfo=UTC).timestamp()
P_TABLE_22 = {  # FAO-56 table 22, ETc 5 mm/d
    "pepper": 0.30,
    "cucumber": 0.50,
    "zucchini": 0.50,
    "winter_squash": 0.35,
    "bean": 0.45,
    "lettuce": 0.30,
}


def engine(told: Garden) -> Engine:
    begun = Engine(told)
    begun.step(Started(at_utc_s=START_UTC_S, mono_s=0.0, trusted_s=0.0, stored_epoch=0))
    return begun


def garden(crop: object, bed: str = "south") -> Garden:
    data = copy.deepcopy(tomllib.loads(find_garden("hollin-lane").read_text(encoding="utf-8")))
    data["beds"][bed]["crop"] = crop
    return Garden.model_validate(data)


@pytest.mark.parametrize("crop", OTHERS)
@pytest.mark.parametrize("stage", [stage for stage in Stage if stage is not Stage.ESTABLISHING])
def test_the_line_is_the_handbooks_p_and_the_floor_ten_points_past_it(
    crop: str, stage: Stage
) -> None:
    line, floor = line_and_floor(stage, 0.5, (crop,))
    assert line == P_TABLE_22[crop]
    assert floor == pytest.approx(P_TABLE_22[crop] + 0.10)


@pytest.mark.parametrize("crop", OTHERS)
def test_no_transplant_is_drier_than_a_young_tomato(crop: str) -> None:
    line, floor = line_and_floor(Stage.ESTABLISHING, 0.5, (crop,))
    assert line <= LINES_FRAC[Stage.ESTABLISHING][0]
    assert line < floor <= LINES_FRAC[Stage.ESTABLISHING][1]


@pytest.mark.parametrize(
    "crops", [("tomato",), *[(name,) for name in OTHERS], ("tomato", "pepper")]
)
@pytest.mark.parametrize("lean", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("stage", list(Stage))
def test_the_line_is_never_past_the_floor_nor_the_floor_past_its_most(
    stage: Stage, lean: float, crops: tuple[str, ...]
) -> None:
    line, floor = line_and_floor(stage, lean, crops)
    assert 0.0 < line <= floor <= FLOOR_HIGHEST_FRAC


def test_in_a_mixed_bed_the_most_sensitive_crop_counts() -> None:
    mixed = line_and_floor(Stage.COLOURING, 0.5, ("tomato", "pepper"))
    assert mixed == line_and_floor(Stage.COLOURING, 0.5, ("pepper",))
    with_cucumber = line_and_floor(Stage.SETTING, 0.5, ("tomato", "cucumber"))
    assert with_cucumber == LINES_FRAC[Stage.SETTING]


def test_tomato_is_tried_and_the_others_are_said_not_to_be() -> None:
    assert untried(("tomato",)) == ()
    assert untried(("tomato", "pepper", "bean")) == ("pepper", "bean")


@pytest.mark.parametrize("crop", OTHERS)
def test_check_view_and_why_say_that_a_crop_is_untried(crop: str) -> None:
    told = garden(["tomato", crop])
    text = render(explain(told))
    assert f"Untried: the lines for {crop} are a handbook's" in " ".join(text.split())
    beds = picture(engine(told).run)["beds"]
    assert beds["south"]["untried"] == [crop]
    assert beds["wall"]["untried"] == []
    assert untried_words(beds["south"]) == [
        f"Untried: its lines for {crop} are a handbook's. Look at the leaves."
    ]
    assert untried_words(beds["wall"]) == []


def test_the_engine_goes_by_the_crops_own_line() -> None:
    beds = picture(engine(garden("pepper")).run)["beds"]
    assert beds["south"]["thirst_line_frac"] <= P_TABLE_22["pepper"]


def test_check_names_the_trades_word_beside_the_line() -> None:
    text = render(explain(garden("tomato")))
    assert "management-allowed depletion, MAD" in " ".join(text.split())
    assert "(MAD 40 %)" in text
