"""What the recipes of DEVELOPERS.md ask for, held where no other test would miss it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any, Literal, get_args, get_origin

import pytest
from pydantic import BaseModel

from api.first_day.questions import KINDS
from controller.agronomy.crop import load_crops
from controller.garden import Garden
from controller.garden_parts import Probe, ProbeKind
from controller.sensing.calibration import from_theta, to_theta, water_scale
from controller.sensing.payload import RANGES, UNITS
from controller.watering.decision import Reason
from sim.forms import DIGITS, SENML_UNITS, told_value
from tests.unit.test_docs import README, ROOT, coded, models_in, section

THETA_M3_M3, TENSION_KPA = 0.231, 33.0
SAYS_ONLY = {"decision.py", "words.py", "ending.py", "coming.py"}  # they name reasons only
WALKS_ONLY = {"test_words.py", "test_docs.py", "test_recipes.py"}  # tests that name no case
POINTS = ((2900.0, 0.04), (1350.0, 0.42))


def told_of_file() -> set[str]:
    """Every word in backticks about the garden file."""
    return set(re.findall(r"[\w.-]+", " ".join(coded(section(README, "## Your garden file")))))


def probe(kind: str) -> Probe:
    points = POINTS if kind == "raw" else None
    return Probe.model_validate({"kind": kind, "depth_cm": 20, "calibration": points})


@pytest.mark.parametrize("kind", get_args(ProbeKind))
def test_every_kind_of_probe_is_read_made_asked_for_and_told(kind: str) -> None:
    one = probe(kind)
    value = told_value(one, THETA_M3_M3, TENSION_KPA)
    found = to_theta(one, value)
    assert (found.theta_m3_m3, found.tension_kpa) != (None, None)
    if found.theta_m3_m3 is not None:
        assert found.theta_m3_m3 == pytest.approx(THETA_M3_M3, abs=1e-3)
        assert water_scale(one)(value) == pytest.approx(found.theta_m3_m3)
        assert from_theta(one, found.theta_m3_m3) == pytest.approx(value, rel=1e-6)
    else:
        assert found.tension_kpa == pytest.approx(TENSION_KPA, rel=0.02)
    assert kind in RANGES
    assert kind in DIGITS
    assert kind in KINDS
    assert kind in told_of_file()
    assert (kind in UNITS) == (kind in SENML_UNITS) == (kind != "raw")


def test_every_crop_is_named_where_the_garden_file_is_explained() -> None:
    assert set(load_crops()) <= told_of_file()


def choices(annotation: Any) -> Iterator[str]:
    """Every text that a key may have where it may only have some."""
    if get_origin(annotation) is Literal:
        yield from (str(one) for one in get_args(annotation))
    for part in get_args(annotation):
        if not isinstance(part, str):
            yield from choices(part)


def all_choices(model: type[BaseModel], seen: set[type[BaseModel]]) -> set[str]:
    found: set[str] = set()
    if model not in seen:
        seen.add(model)
        for field in model.model_fields.values():
            found |= set(choices(field.annotation))
            for inner in models_in(field.annotation):
                found |= all_choices(inner, seen)
    return found


def test_every_word_that_a_key_may_have_is_told() -> None:
    wanted = all_choices(Garden, set())
    assert {"straw", "indeterminate", "master", "raw"} <= wanted
    told = told_of_file()
    assert {one for one in wanted if not set(one.split()) <= told} == set()


@cache
def trees_of_tests() -> tuple[str, ...]:
    """Every file of tests but those that only walk the list of reasons."""
    return tuple(
        path.read_text("utf-8")
        for path in sorted((ROOT / "tests").rglob("test_*.py"))
        if path.name not in WALKS_ONLY
    )


@pytest.mark.parametrize("reason", Reason)
def test_every_reason_is_given_by_something(reason: Reason) -> None:
    given = [
        path.name
        for path in (ROOT / "controller").rglob("*.py")
        if path.name not in SAYS_ONLY and f"Reason.{reason.name}" in path.read_text("utf-8")
    ]
    interlocks = re.compile(rf'"{reason.value}"')
    by_name = [
        path.name
        for path in (ROOT / "controller/watering").rglob("*.py")
        if path.name not in SAYS_ONLY and interlocks.search(path.read_text("utf-8"))
    ]
    assert given or by_name


@pytest.mark.parametrize("reason", Reason)
def test_every_reason_is_brought_about_by_a_test(reason: Reason) -> None:
    """By its name: lists over all of `Reason`, and sentences alone, do not count."""
    named = re.compile(rf'Reason\.{reason.name}\b|"{reason.value}"')
    assert any(named.search(text) for text in trees_of_tests())
