"""The sureness command: what it counts, what it refuses, and that its targets can be missed."""

from __future__ import annotations

import argparse

import pytest

from controller.errors import UsageError
from controller.garden import Garden, load_garden
from sim.examples import find_garden
from sim.sureness import Dawn, Lived, _lines, measured, seeds_of, summary, with_probes


@pytest.fixture(scope="module")
def garden() -> Garden:
    return load_garden(find_garden("hollin-lane"))


def dawn(believed: float, true: float, sd: float, *, learned: bool = True) -> Dawn:
    return Dawn(bed="south", true_frac=true, believed_frac=believed, sd_frac=sd, learned=learned)


def one(*dawns: Dawn) -> Lived:
    return Lived(
        probes="raw",
        weather="seattle-2015",
        seed=1,
        dawns=dawns,
        drained_frac=0.02,
        litres=100.0,
        past_floor=2,
    )


@pytest.mark.parametrize(
    ("believed", "inside"),
    [
        pytest.param(0.30, True, id="right"),
        pytest.param(0.46, True, id="just-within"),
        pytest.param(0.47, False, id="just-beyond"),
        pytest.param(0.13, False, id="beyond-below"),
    ],
)
def test_ninety_per_cent_are_within_1_645_standard_deviations(
    believed: float, inside: bool
) -> None:
    assert dawn(believed, 0.30, 0.10).inside is inside


def test_dawns_of_a_bed_that_still_learns_are_told_beside() -> None:
    found = summary([one(dawn(0.3, 0.2, 0.1), dawn(0.9, 0.1, 0.1, learned=False))])
    assert (found["dawns"], found["learning_dawns"]) == (1, 1)
    assert (found["median_error_frac"], found["inside_share"]) == (0.1, 1.0)
    nothing = summary([one(dawn(0.9, 0.1, 0.1, learned=False))])
    assert (nothing["median_error_frac"], nothing["inside_share"]) == (None, None)


def test_errors_are_believed_less_true_and_worlds_add_up() -> None:
    found = summary([one(dawn(0.1, 0.2, 0.01)), one(dawn(0.5, 0.2, 0.01), dawn(0.2, 0.2, 0.01))])
    assert found["bias_frac"] == pytest.approx(0.2 / 3.0, abs=1e-4)
    assert found["inside_share"] == pytest.approx(1.0 / 3.0, abs=1e-4)
    assert (found["worlds"], found["dawns_past_floor"], found["drained_share"]) == (2, 4, 0.02)


def test_a_table_has_a_row_for_each_group() -> None:
    group = {"probes": "raw", "weather": "all", **summary([one(dawn(0.3, 0.2, 0.1))])}
    head, row = _lines([group]).splitlines()
    assert len(head) == len(row)
    assert "0.100" in row


def test_raw_probes_lose_their_tables_and_none_their_names(garden: Garden) -> None:
    raw, none = with_probes(garden, "raw"), with_probes(garden, "none")
    assert all(probe.uncalibrated for probe in raw.probes.values())
    assert not any(probe.uncalibrated for probe in garden.probes.values())
    assert not none.probes
    assert not any(bed.probes for bed in none.beds.values())
    assert with_probes(garden, "calibrated") == garden
    with pytest.raises(UsageError, match="none of"):
        with_probes(garden, "none of")


@pytest.mark.parametrize(("text", "first", "last"), [("3", 1, 3), ("11-40", 11, 40), ("7-7", 7, 7)])
def test_seeds_are_a_number_or_a_span(text: str, first: int, last: int) -> None:
    assert list(seeds_of(text)) == list(range(first, last + 1))


@pytest.mark.parametrize("text", ["0", "-3", "5-2", "a", "", "1-b", "1.5"])
def test_what_is_no_seeds_is_refused(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError):
        seeds_of(text)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("probes", "error_frac"), [("calibrated", 0.05), ("raw", 0.08), ("none", 0.12)]
)
def test_in_worlds_that_nothing_was_tuned_on_the_state_is_as_sure_as_it_says(
    garden: Garden, probes: str, error_frac: float
) -> None:
    found = measured(garden, range(11, 17), probes=[probes])[-1]
    assert found["median_error_frac"] <= error_frac
    assert 0.85 <= found["inside_share"] <= 0.95
