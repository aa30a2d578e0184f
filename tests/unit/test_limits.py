"""The guard: each refusal with its number on both sides, nothing that is no number, no gap."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.events import LedgerEntry
from controller.watering.limits import (
    Caps,
    Opening,
    Refused,
    Situation,
    Verdict,
    allowed_now_l,
    counts,
    permit,
    reserve_l,
    used_l,
    want_within_l,
)

DAY_S = 86_400.0
NOW_S = 1_000_000.0
OPENING = Opening(bed="south", want_l=100.0, open_s=1200.0, flow_l_min=6.0)
CAPS = Caps(bed_l_day=400.0, dose_l=300.0, site_l_day=600.0, open_most_s=5400.0)
CALM = Situation(
    interlock=None,
    trusted_s=NOW_S,
    budget_spent_until_trusted_s=None,
    busy=0,
    beds_at_once=2,
    busy_flow_l_min=0.0,
    supply_flow_l_min=14.0,
    closed_since_s=None,
)


def entry(
    charged_l: float, ended_s: float | None = NOW_S - 3600.0, bed: str = "south"
) -> LedgerEntry:
    return LedgerEntry(dose="d", bed=bed, charged_l=charged_l, ended_trusted_s=ended_s)


def ask(
    opening: dict[str, Any] | None = None,
    caps: dict[str, Any] | None = None,
    ledger: list[LedgerEntry] | None = None,
    **situation: Any,
) -> Verdict:
    return permit(
        replace(OPENING, **(opening or {})),
        replace(CAPS, **(caps or {})),
        ledger or [],
        replace(CALM, **situation),
    )


def test_a_sound_opening_is_permitted_with_its_reservation() -> None:
    verdict = ask()
    assert verdict.permitted
    assert verdict.reserved_l == pytest.approx(130.0)  # 1.3 x 100 L beats 100 L + 135 s of flow


@pytest.mark.parametrize(
    ("want_l", "flow_l_min", "reserved_l"),
    [
        pytest.param(100.0, 6.0, 130.0, id="long-dose"),
        pytest.param(10.0, 6.0, 23.5, id="short-dose"),  # 10 + 6 x 135 / 60
        pytest.param(45.0, 6.0, 58.5, id="where-they-meet"),
    ],
)
def test_a_reservation_is_the_larger_of_the_two(
    want_l: float, flow_l_min: float, reserved_l: float
) -> None:
    assert reserve_l(want_l, flow_l_min) == pytest.approx(reserved_l)


@settings(derandomize=True)
@given(want_l=st.floats(0.01, 1e5), flow_l_min=st.floats(0.01, 500.0))
def test_want_within_is_the_inverse_of_reserve(want_l: float, flow_l_min: float) -> None:
    assert want_within_l(reserve_l(want_l, flow_l_min), flow_l_min) == pytest.approx(want_l)
    assert want_within_l(reserve_l(0.0, flow_l_min) * 0.9, flow_l_min) == 0.0


BOUNDS: list[Any] = [
    pytest.param(Refused.TOO_SHORT, {"opening": {"open_s": 59.9}}, {"opening": {"open_s": 60.0}},
                 id="minute"),
    pytest.param(Refused.TOO_LONG, {"opening": {"open_s": 5400.1}}, {"opening": {"open_s": 5400.0}},
                 id="ceiling"),
    pytest.param(
        Refused.TOO_LONG,
        {"caps": {"open_most_s": 9000.0}, "opening": {"open_s": 5401.0}},
        {"caps": {"open_most_s": 9000.0}, "opening": {"open_s": 5400.0}},
        id="ceiling-that-no-file-raises",
    ),
    pytest.param(Refused.TOO_LONG, {"caps": {"open_most_s": 1199.0}},
                 {"caps": {"open_most_s": 1200.0}}, id="ceiling-of-the-file"),
    pytest.param(Refused.DOSE_CAP, {"caps": {"dose_l": 129.9}}, {"caps": {"dose_l": 130.1}},
                 id="dose"),
    pytest.param(
        Refused.DOSE_CAP,
        {"opening": {"watering_charged_l": 170.1}},
        {"opening": {"watering_charged_l": 169.9}},
        id="dose-with-earlier-pulses",
    ),
    pytest.param(Refused.BED_CAP, {"ledger": [entry(270.1)]}, {"ledger": [entry(269.9)]}, id="bed"),
    pytest.param(
        Refused.SITE_CAP,
        {"ledger": [entry(470.1, bed="wall")]},
        {"ledger": [entry(469.9, bed="wall")]},
        id="site",
    ),
    pytest.param(Refused.STARTS, {"ledger": [entry(1.0)] * 12}, {"ledger": [entry(1.0)] * 11},
                 id="starts"),
    pytest.param(Refused.BUSY, {"busy": 2, "busy_flow_l_min": 1.0},
                 {"busy": 1, "busy_flow_l_min": 1.0}, id="busy"),
    pytest.param(
        Refused.SUPPLY,  # 0.9 x 14 L/min = 12.6
        {"busy": 1, "busy_flow_l_min": 6.7},
        {"busy": 1, "busy_flow_l_min": 6.5},
        id="supply",
    ),
    pytest.param(Refused.RESTING, {"closed_since_s": 599.9}, {"closed_since_s": 600.0}, id="rest"),
    pytest.param(
        Refused.BUDGET_SPENT,
        {"budget_spent_until_trusted_s": NOW_S + 0.1},
        {"budget_spent_until_trusted_s": NOW_S},
        id="lost-history",
    ),
    pytest.param(Refused.NOT_FINITE, {"opening": {"want_l": 0.0}}, {"opening": {"want_l": 0.1}},
                 id="no-water"),
    pytest.param(
        Refused.NOT_FINITE,
        {"opening": {"want_l": 1e5 + 1}, "caps": dict.fromkeys(
            ("bed_l_day", "dose_l", "site_l_day"), 1e9)},
        {"opening": {"want_l": 1e5}, "caps": dict.fromkeys(
            ("bed_l_day", "dose_l", "site_l_day"), 1e9)},
        id="absurd",
    ),
    pytest.param(Refused.NOT_FINITE, {"opening": {"flow_l_min": 0.0}},
                 {"opening": {"flow_l_min": 0.1}}, id="no-flow"),
]  # fmt: skip


@pytest.mark.hazard("V8", "V10")
@pytest.mark.parametrize(("why", "refused", "permitted"), BOUNDS)
def test_each_bound_refuses_on_its_one_side_only(
    why: Refused, refused: dict[str, Any], permitted: dict[str, Any]
) -> None:
    no = ask(**refused)
    assert no.refused is why
    assert not no.permitted
    assert no.reserved_l == 0.0
    assert ask(**permitted).permitted


@pytest.mark.parametrize("why", list(Refused))
def test_an_interlock_is_repeated_as_it_is(why: Refused) -> None:
    verdict = ask(interlock=why)
    assert verdict.refused is why
    assert (verdict.allowed_l, verdict.next_possible_s) == (0.0, None)


def test_every_refusal_of_the_guard_itself_has_a_case() -> None:
    of_the_state = {
        Refused.NOT_ARMED,
        Refused.PROVING,
        Refused.LOCKED,
        Refused.OTHER_CONTROLLER,
        Refused.CANNOT_RECORD,
        Refused.LINK_LOST,
        Refused.QUIET_START,
        Refused.VALVE_LATCHED,
        Refused.FROST,
    }
    assert {case.values[0] for case in BOUNDS} | of_the_state == set(Refused)


BAD = [
    pytest.param(math.nan, id="nan"),
    pytest.param(math.inf, id="inf"),
    pytest.param(-math.inf, id="minus-inf"),
]


def floats_of(kind: type) -> list[str]:
    return [one.name for one in fields(kind) if "float" in str(one.type)]


@pytest.mark.parametrize("bad", BAD)
@pytest.mark.parametrize("name", floats_of(Opening))
def test_no_opening_with_a_number_that_is_none(name: str, bad: float) -> None:
    assert not ask(opening={name: bad}).permitted


@pytest.mark.parametrize("bad", BAD)
@pytest.mark.parametrize("name", floats_of(Caps))
def test_no_cap_that_is_no_number_permits(name: str, bad: float) -> None:
    assert not ask(caps={name: bad}).permitted


@pytest.mark.parametrize("bad", BAD)
@pytest.mark.parametrize("name", ["trusted_s", "busy_flow_l_min", "supply_flow_l_min"])
def test_no_situation_that_is_no_number_permits(name: str, bad: float) -> None:
    situation: dict[str, Any] = {name: bad, "busy": 1}
    assert not ask(**situation).permitted


@pytest.mark.parametrize("name", ["closed_since_s", "budget_spent_until_trusted_s"])
def test_a_wait_that_is_no_number_is_not_over(name: str) -> None:
    situation: dict[str, Any] = {name: math.nan}
    assert not ask(**situation).permitted


@pytest.mark.parametrize("bad", [math.nan, math.inf], ids=["nan", "inf"])
def test_a_ledger_with_a_number_that_is_none_permits_nothing(bad: float) -> None:
    assert not ask(ledger=[entry(bad)]).permitted
    assert counts(entry(1.0, ended_s=math.nan), NOW_S)


@pytest.mark.parametrize(
    ("age_s", "still_counts"),
    [
        pytest.param(DAY_S - 0.001, True, id="just-under-a-day"),
        pytest.param(DAY_S, False, id="a-day"),
        pytest.param(DAY_S + 0.001, False, id="just-over-a-day"),
        pytest.param(-5.0, True, id="ends-in-the-future"),
    ],
)
def test_an_entry_leaves_after_a_day_of_trusted_time(age_s: float, still_counts: bool) -> None:
    old = entry(390.0, ended_s=NOW_S - age_s)
    assert counts(old, NOW_S) is still_counts
    assert ask(ledger=[old]).permitted is not still_counts


def test_what_still_runs_counts_however_long_ago_it_began() -> None:
    assert counts(entry(1.0, ended_s=None), 1e12)
    assert used_l([entry(5.0, ended_s=None), entry(7.0), entry(9.0, bed="wall")], NOW_S) == 21.0
    assert used_l([entry(5.0), entry(9.0, bed="wall")], NOW_S, "wall") == 9.0


def test_a_refusal_over_the_cap_says_what_would_be_allowed_and_when() -> None:
    old, new = entry(200.0, NOW_S - 80_000.0), entry(150.0, NOW_S - 100.0)
    verdict = ask(ledger=[old, new])
    assert verdict.refused is Refused.BED_CAP
    # 50 L are left: 50 - 13.5 L of the reservation's flow, less than 50 / 1.3
    assert verdict.allowed_l == pytest.approx(36.5)
    assert verdict.next_possible_s == pytest.approx(6400.0)
    assert ask(opening={"want_l": verdict.allowed_l}, ledger=[old, new]).permitted


@pytest.mark.hazard("V10")
def test_a_rest_that_is_not_over_says_when_it_is() -> None:
    assert ask(closed_since_s=100.0).next_possible_s == pytest.approx(500.0)


LITRES = st.floats(0.0, 2000.0)
ENTRIES = st.lists(
    st.builds(
        LedgerEntry,
        dose=st.just("d"),
        bed=st.sampled_from(["south", "wall"]),
        charged_l=LITRES,
        ended_trusted_s=st.none() | st.floats(NOW_S - 2 * DAY_S, NOW_S),
    ),
    max_size=14,
)
NUMBER = st.floats(allow_nan=True, allow_infinity=True) | st.floats(0.0, 1000.0)


@settings(derandomize=True, max_examples=500)
@given(
    want_l=NUMBER,
    open_s=NUMBER,
    flow_l_min=st.floats(0.1, 20.0),
    charged_l=LITRES,
    caps=st.tuples(NUMBER, NUMBER, NUMBER),
    ledger=ENTRIES,
    busy=st.integers(0, 3),
)
def test_permitted_implies_every_bound(
    want_l: float,
    open_s: float,
    flow_l_min: float,
    charged_l: float,
    caps: tuple[float, float, float],
    ledger: list[LedgerEntry],
    busy: int,
) -> None:
    bed_l_day, dose_l, site_l_day = caps
    verdict = ask(
        opening={
            "want_l": want_l,
            "open_s": open_s,
            "flow_l_min": flow_l_min,
            "watering_charged_l": charged_l,
        },
        caps={"bed_l_day": bed_l_day, "dose_l": dose_l, "site_l_day": site_l_day},
        ledger=ledger,
        busy=busy,
        busy_flow_l_min=busy * 3.0,
    )
    assert math.isfinite(verdict.allowed_l)
    if not verdict.permitted:
        return
    most_l = verdict.reserved_l
    assert most_l >= 1.3 * want_l - 1e-9
    assert most_l >= want_l + flow_l_min * 135.0 / 60.0 - 1e-9
    assert 60.0 <= open_s <= 5400.0
    live = [e for e in ledger if counts(e, NOW_S)]
    mine = [e for e in live if e.bed == "south"]
    assert sum(e.charged_l for e in mine) + most_l <= bed_l_day + 1e-6
    assert sum(e.charged_l for e in live) + most_l <= site_l_day + 1e-6
    assert charged_l + most_l <= dose_l + 1e-6
    assert len(mine) < 12
    assert busy < 2


@settings(derandomize=True, max_examples=300)
@given(ledger=ENTRIES, bed_l_day=LITRES, less=st.floats(0.0, 1.0))
def test_lowering_a_cap_never_allows_more(
    ledger: list[LedgerEntry], bed_l_day: float, less: float
) -> None:
    wide = replace(CAPS, bed_l_day=bed_l_day)
    tight = replace(CAPS, bed_l_day=bed_l_day * less)
    assert allowed_now_l(OPENING, tight, ledger, NOW_S) <= allowed_now_l(
        OPENING, wide, ledger, NOW_S
    )
    if permit(OPENING, tight, ledger, CALM).permitted:
        assert permit(OPENING, wide, ledger, CALM).permitted
