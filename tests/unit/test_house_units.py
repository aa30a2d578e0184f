"""Every number in a dataclass or model says its unit in its name, or is on the list of the pure."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
import types
import typing
from collections.abc import Iterator
from typing import Annotated, Any, Union

import pytest
from pydantic import BaseModel

import api
import controller
import sim

SUFFIXES = (
    "_c", "_c_d", "_cm", "_cm_d", "_d", "_deg", "_frac", "_h", "_kg", "_kohm", "_kpa", "_l", "_l_d",
    "_l_day", "_l_h", "_l_min", "_lat", "_m", "_m2", "_m3_m3", "_m_s", "_minutes", "_mj_m2",
    "_mj_m2_d", "_mm", "_mm2", "_mm_d", "_mm_h", "_mm_total", "_pct", "_per_c", "_per_cm",
    "_per_hour", "_per_kpa", "_per_m", "_per_minute", "_per_mm", "_per_pulse", "_rad", "_s", "_v",
    "_w_m2",
)  # fmt: skip
WHOLE_NAMES = {
    "days_since_transplant",
    "hours",
    "kg",
    "litres",
    "litres_per_week",
    "litres_total",
    "minutes",
    "seconds",
}
PURE = {
    "b",  # exponent of the retention curve, Saxton & Rawls' B
    "calibration",  # pairs of raw counts and m3/m3, said in the model
    "centre",  # of a fitted quantity, in its unit
    "chance",
    "cracked",
    "degree_days",  # [°C d]
    "differs",  # a band of a what-if, in the unit of its measure
    "evaporation_share",
    "follows_squares",  # of water contents [m6/m6]
    "ground_ratio",
    "high",  # bounds of a rule of the garden file, in the unit of the rule
    "kcb",
    "kcb_end",
    "kcb_end_staked",
    "kcb_ini",
    "kcb_mid",
    "n",  # exponent of van Genuchten's curve
    "pore",  # exponent of Mualem's conductivity, his l
    "kcb_mid_staked",
    "kc_max",
    "ke",
    "ks",
    "ky",
    "si",  # a typed amount, in the metric unit that stands beside it
    "si_per_one",  # of a unit of a measure, in the measure's metric unit
    "least_value",  # bounds of a verdict, in the unit of what is measured
    "latitude",  # [degrees north]: the file's own word
    "lean",
    "speed",
    "spread",  # of a fitted quantity, in its unit
    "log_thirst",
    "low",
    "longitude",  # [degrees east]
    "most_value",
    "need",  # order of turns only
    "p",
    "p_tab",
    "then",  # a band of a what-if, in the unit of its measure
    "thirst",
    "value",  # a probe's reading, in the unit that its garden file declares
    "var_thirst",
    "was",  # a band of a what-if, in the unit of its measure
}


def modules() -> list[str]:
    """Every module of the three packages."""
    return [
        info.name
        for package in (controller, sim, api)
        for info in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")
        if not info.name.endswith("__main__")
    ]


def holds_float(annotation: Any) -> bool:
    """Whether a float stands in an annotation: alone, optional, or in a list or tuple."""
    if annotation is float:
        return True
    origin = typing.get_origin(annotation)
    if origin is Annotated:
        return holds_float(typing.get_args(annotation)[0])
    if origin in {Union, types.UnionType, tuple, list}:
        return any(map(holds_float, typing.get_args(annotation)))
    return False


def float_fields(module: types.ModuleType) -> Iterator[tuple[str, str]]:
    """Class and field of every float in the dataclasses and models that a module defines."""
    for kind in vars(module).values():
        if not isinstance(kind, type) or kind.__module__ != module.__name__:
            continue
        if dataclasses.is_dataclass(kind) or issubclass(kind, BaseModel):
            for name, annotation in typing.get_type_hints(kind).items():
                if holds_float(annotation):
                    yield kind.__name__, name


def says_its_unit(field: str) -> bool:
    """Whether a field's name carries a unit or is known to need none."""
    bare = field.lstrip("_")
    return bare in WHOLE_NAMES or bare in PURE or bare.endswith(SUFFIXES)


@pytest.mark.parametrize("name", modules())
def test_every_float_says_its_unit(name: str) -> None:
    module = importlib.import_module(name)
    silent = [f"{kind}.{field}" for kind, field in float_fields(module) if not says_its_unit(field)]
    assert silent == []


@pytest.mark.parametrize(
    "field", ["depth", "flow_min", "temp", "area", "rate_min", "lowest", "eto", "theta"]
)
def test_a_name_without_unit_would_be_seen(field: str) -> None:
    assert not says_its_unit(field)


def test_floats_are_seen_wherever_they_stand() -> None:
    assert holds_float(float | None)
    assert holds_float(tuple[float, ...])
    assert holds_float(Annotated[tuple[tuple[float, float], ...], "x"] | None)
    assert not holds_float(int | None)
    assert not holds_float(dict[str, float])


def test_many_fields_are_looked_at() -> None:
    count = sum(1 for name in modules() for _ in float_fields(importlib.import_module(name)))
    assert count > 60
