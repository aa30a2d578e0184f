"""The grower's marks outrank the degree-day limits, and the limits keep their order."""

from __future__ import annotations

from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.agronomy.crop import Crop, Stage, coloured_fruit, load_crops, stage_of
from controller.agronomy.degree_days import DegreeDays, degree_days
from controller.agronomy.stages import LIMITS, Marks, crop_as_marked

TOMATO = load_crops()["tomato"]
maybe = st.none() | st.floats()


def limits(crop: Crop) -> list[float]:
    return [value for name in LIMITS if (value := getattr(crop, name)) is not None]


@pytest.mark.parametrize(
    ("marks", "expected"),
    [
        pytest.param(Marks(), [300, 400, 650, 800], id="nothing-seen"),
        pytest.param(Marks(first_flower_c_d=350), [350, 450, 700, 850], id="a-late-flower"),
        pytest.param(Marks(first_flower_c_d=240), [240, 340, 590, 740], id="an-early-flower"),
        pytest.param(
            Marks(first_flower_c_d=350, first_set_c_d=420), [350, 420, 670, 820], id="then-the-set"
        ),
        pytest.param(Marks(first_colour_c_d=600), [300, 400, 600, 600], id="colour-ends-the-set"),
        pytest.param(
            Marks(first_flower_c_d=500, first_set_c_d=400), [400, 400, 650, 800], id="crossed"
        ),
        pytest.param(Marks(first_flower_c_d=nan), [300, 400, 650, 800], id="nan-is-not-seen"),
        pytest.param(Marks(first_set_c_d=inf), [300, 400, 650, 800], id="endless-is-not-seen"),
        pytest.param(Marks(first_set_c_d=-1.0), [300, 400, 650, 800], id="before-planting"),
    ],
)
def test_what_was_seen_moves_what_is_still_ahead(marks: Marks, expected: list[float]) -> None:
    assert limits(crop_as_marked(TOMATO, marks)) == expected


def test_a_crop_without_marks_is_the_tables_own() -> None:
    for crop in load_crops().values():
        assert crop_as_marked(crop, Marks()) == crop


def test_a_mark_brings_the_stage_with_it() -> None:
    def stage(crop: Crop) -> Stage:
        return stage_of(
            crop=crop, days_since_transplant=40.0, degree_days=310.0, habit="determinate"
        )

    assert stage(TOMATO) is Stage.SETTING
    assert stage(crop_as_marked(TOMATO, Marks(first_flower_c_d=330.0))) is Stage.VEGETATIVE


def test_after_the_last_pick_no_fruit_can_crack() -> None:
    done = crop_as_marked(TOMATO, Marks(last_pick_c_d=1200.0))
    assert coloured_fruit(1199.0, done)
    assert not coloured_fruit(1200.0, done)


@pytest.mark.parametrize("name", list(load_crops()))
@given(marks=st.builds(Marks, first_flower_c_d=maybe, first_set_c_d=maybe, first_colour_c_d=maybe))
def test_limits_keep_their_order_whatever_was_marked(name: str, marks: Marks) -> None:
    crop = load_crops()[name]
    found = limits(crop_as_marked(crop, marks))
    assert found == sorted(found)
    assert len(found) == len(limits(crop))


@given(ends=st.tuples(st.floats(-40.0, 60.0), st.floats(-40.0, 60.0)))
def test_the_named_form_is_capped_where_none_is_named(ends: tuple[float, float]) -> None:
    tmin_c, tmax_c = sorted(ends)
    assert degree_days(tmin_c, tmax_c) == degree_days(tmin_c, tmax_c, DegreeDays.CAPPED)
