"""A bed without probes that follows a sister: drawn to her share, never as sure, and said so."""

from __future__ import annotations

import json
from typing import Any

import pytest

from api import look
from controller.garden import Garden
from controller.garden_checks import Declared, cross_faults
from controller.sensing.spread import spread_frac
from controller.view import picture
from tests.engine_garden import small_garden
from tests.probe_hands import Hands, drying, flat


def sisters(kind: type[Declared] = Garden, /, **like: str) -> Any:
    """Beds `south` with probes, `wall` and `hedge` without; `like` says who follows whom."""
    told = json.loads(
        small_garden(beds=("south", "wall", "hedge")).model_dump_json(exclude_none=True)
    )
    for bed in ("wall", "hedge"):
        told["beds"][bed]["probes"] = []
        del told["probes"][f"{bed}-20"], told["probes"][f"{bed}-40"]
    for bed, other in like.items():
        told["beds"][bed]["like"] = other
    return kind.model_validate(told)


def frac(hands: Hands, bed: str) -> float:
    return hands.engine.state.water[bed].depletion_mm / hands.engine.state.days[bed].taw_mm


def var_frac2(hands: Hands, bed: str) -> float:
    return hands.engine.state.water[bed].var_mm2 / hands.engine.state.days[bed].taw_mm ** 2


def held(hands: Hands) -> Hands:
    hands.engine.state.lock_why = "nothing waters here"
    return hands


def test_it_is_drawn_to_its_sisters_share_and_another_is_not() -> None:
    hands = held(Hands(sisters(wall="south"), south_20=flat(0.20), south_40=flat(0.20)))
    hands.live(30.0)
    told = frac(hands, "south")
    assert told > 0.5
    assert abs(frac(hands, "wall") - told) < 0.5 * abs(frac(hands, "hedge") - told)


def test_it_is_never_as_sure_as_its_sister() -> None:
    hands = held(Hands(sisters(wall="south"), south_20=drying(), south_40=drying()))
    for _ in range(20):
        hands.live(6.0)
        run = hands.engine.run
        assert var_frac2(hands, "wall") > var_frac2(hands, "south")
        mine, hers = (
            spread_frac(run.state.water[bed], run.soils[bed], run.days[bed])
            for bed in ("wall", "south")
        )
        assert mine > hers


def test_while_the_sister_is_silent_it_goes_by_its_balance() -> None:
    hands = held(Hands(sisters(wall="south"), south_20=flat(0.20), south_40=flat(0.20)))
    hands.live(30.0)
    hands.probes.clear()
    hands.live(2.0)
    before = hands.engine.state.water["wall"].pulled_mm
    hands.live(24.0)
    assert hands.engine.state.water["wall"].pulled_mm == before


def test_view_and_why_say_which_bed_it_follows() -> None:
    hands = Hands(sisters(wall="south"), south_20=drying(), south_40=drying())
    hands.live(3.0)
    shown: dict[str, Any] = picture(hands.engine.run)
    assert [shown["beds"][bed]["follows"] for bed in ("south", "wall", "hedge")] == [
        None,
        "south",
        None,
    ]
    assert (shown["beds"]["wall"]["quality"], shown["beds"]["wall"]["state"]) == ("ok", "drying")
    assert (shown["beds"]["hedge"]["quality"], shown["beds"]["hedge"]["state"]) == ("none", "blind")
    said = look.why("wall", shown)
    assert "It has no probe of its own and follows South." in said
    assert "No probe speaks" not in said
    assert "follows" not in look.why("hedge", shown)


@pytest.mark.parametrize(
    ("like", "bed", "said"),
    [
        pytest.param({"wall": "wall"}, "wall", "is this bed itself", id="itself"),
        pytest.param(
            {"wall": "south", "hedge": "wall"}, "hedge", "has no probes to follow", id="chain"
        ),
        pytest.param(
            {"wall": "hedge", "hedge": "wall"}, "wall", "has no probes to follow", id="circle"
        ),
    ],
)
def test_a_bed_follows_one_with_probes_and_no_other(
    like: dict[str, str], bed: str, said: str
) -> None:
    found = [
        text
        for path, text in cross_faults(sisters(Declared, **like))
        if path == ("beds", bed, "like")
    ]
    assert len(found) == 1
    assert said in found[0]
