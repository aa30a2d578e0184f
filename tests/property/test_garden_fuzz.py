"""Whatever stands in a garden file, reading it gives a garden or a `GardenError`, nothing else."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import GardenError
from controller.garden import Garden, load_garden
from sim.examples import find_garden

LINES = find_garden("hollin-lane").read_text(encoding="utf-8").splitlines()
KEYED = [number for number, line in enumerate(LINES) if "=" in line.partition("#")[0]]

VALUES = st.one_of(
    st.sampled_from(
        ["nan", "-inf", "true", "[]", "{}", "0", "-1", "1e308", "0x" + "f" * 300, "2026-05-09"]
    ),
    st.sampled_from(['""', '"\\u0000"', "[[1, 2]]", "[1, [2]]", "07:30:00", "1_000", "{a = 1}"]),
    st.integers().map(str),
    st.floats().map(repr),
    st.text(max_size=60).map(lambda text: '"' + text.replace("\\", "").replace('"', "") + '"'),
)
CHANGES = st.lists(
    st.tuples(
        st.sampled_from(["value", "drop", "double", "key", "text"]),
        st.sampled_from(KEYED),
        VALUES,
    ),
    min_size=1,
    max_size=4,
)


def read_back(raw: bytes) -> Garden | GardenError:
    """Put the bytes into a file and read it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plot.toml"
        path.write_bytes(raw)
        try:
            return load_garden(path)
        except GardenError as exc:
            refused = exc
    assert refused.faults
    assert all(fault.startswith("plot.toml") for fault in refused.faults)
    assert all(fault.isprintable() for fault in refused.faults)
    assert all(len(fault) < 500 for fault in refused.faults)
    return refused


@settings(max_examples=200, deadline=None)
@given(raw=st.binary(max_size=400))
def test_random_bytes_are_refused_politely(raw: bytes) -> None:
    assert isinstance(read_back(raw), GardenError)


@settings(max_examples=200, deadline=None)
@given(text=st.text(max_size=200), after=st.sampled_from(KEYED))
def test_random_text_in_a_sound_file_never_escapes_as_another_error(text: str, after: int) -> None:
    lines = [*LINES[:after], text, *LINES[after:]]
    read_back("\n".join(lines).encode("utf-8", "surrogatepass"))


@pytest.mark.hazard("K1")
@settings(max_examples=300, deadline=None)
@given(changes=CHANGES)
def test_a_changed_file_gives_finite_caps_or_is_refused(
    changes: list[tuple[str, int, str]],
) -> None:
    lines = list(LINES)
    for what, number, value in changes:
        key = LINES[number].partition("=")[0]
        lines[number] = {
            "value": f"{key}= {value}",
            "drop": "",
            "double": f"{lines[number]}\n{lines[number]}",
            "key": f"{key.strip()}x = {value}",
            "text": value,
        }[what]
    garden = read_back("\n".join(lines).encode("utf-8", "surrogatepass"))
    if isinstance(garden, Garden):
        for bed in garden.beds:
            caps = garden.limits_for(bed)
            assert 0 < caps.dose_l < math.inf
            assert 0 < caps.bed_l_day < math.inf
            assert 0 < garden.bed_flow_l_min(bed) <= garden.shared_flow_l_min
        assert Garden.model_validate_json(garden.model_dump_json()) == garden
