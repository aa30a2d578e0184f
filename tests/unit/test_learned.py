"""What a bed learned is kept, shown, forgotten on a person's word, tied to its probes' names."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from itertools import count

import pytest

from controller.effects import Answer
from controller.engine import Engine
from controller.events import GardenChanged, Order, OrderKind, Started
from controller.garden import Garden, load_garden
from controller.restoring import restored
from controller.run import VERSION
from controller.sensing.full_point import begin, told_sd_m3_m3
from controller.state import ProbeLine
from controller.store import Recovered
from controller.store_reads import Snapshot
from controller.view import picture
from sim.examples import find_garden
from sim.sureness import with_probes

NOW_UTC_S = 1_782_892_800.0
RAW = "south/south-20"


@pytest.fixture
def garden() -> Garden:
    """The example garden, its probes without tables."""
    return with_probes(load_garden(find_garden("hollin-lane")), "raw")


@pytest.fixture
def taught(garden: Garden) -> Engine:
    """An engine whose south bed learned a lower full point, thirst, and one probe's worth."""
    engine = Engine(garden)
    engine.step(Started(at_utc_s=NOW_UTC_S, mono_s=0.0, trusted_s=0.0, stored_epoch=0))
    water = engine.state.water["south"]
    begin(water, engine.run.soils["south"])
    water.full_odds_frac = [0.0] * 4 + [1.0] + [0.0] * 10
    water.full_probes = ["south-20", "south-40"]
    water.full_sd_m3_m3 = told_sd_m3_m3(water, engine.run.soils["south"])
    water.full_shift_m3_m3 = water.full_said_m3_m3 = -0.0305
    water.full_since_utc_s = NOW_UTC_S
    water.log_thirst = 0.2
    engine.state.learned[RAW] = ProbeLine(slope_frac=2.5, spells=3, since_utc_s=NOW_UTC_S)
    engine._fit_garden()
    return engine


def learned(engine: Engine, bed: str = "south") -> dict[str, object]:
    found: dict[str, object] = picture(engine.run)["beds"][bed]["learned"]
    return found


def order(engine: Engine, **what: object) -> Answer:
    numbers: Iterator[int] = count()
    told = Order(
        at_utc_s=NOW_UTC_S + 1.0,
        mono_s=1.0,
        order=f"o-{next(numbers)}",
        what=OrderKind.FORGET,
        who="anna",
        **what,  # type: ignore[arg-type]
    )
    return next(one for one in engine.step(told) if isinstance(one, Answer))


def test_it_is_shown(taught: Engine) -> None:
    told = learned(taught)
    file_m3_m3 = taught.run.garden.beds["south"].fc_m3_m3
    assert told["full_m3_m3"] == pytest.approx(file_m3_m3 - 0.0305, abs=1e-4)
    assert told["full_told_m3_m3"] == pytest.approx(file_m3_m3, abs=1e-4)
    assert told["full_since"] == "2026-07-01T08:00:00Z"
    assert told["thirst"] == pytest.approx(1.221, abs=1e-3)
    probes = told["probes"]
    assert isinstance(probes, dict)
    assert probes["south-20"]["dry_spells"] == 3
    assert probes["south-20"]["since"] == "2026-07-01T08:00:00Z"
    assert probes["south-20"]["counts_per_mm"] == pytest.approx(-7.45, abs=0.01)
    assert probes["south-40"] == {"counts_per_mm": None, "dry_spells": 0, "since": None}
    assert learned(taught, "wall")["full_since"] is None


def test_it_outlives_a_snapshot(taught: Engine) -> None:
    again = Engine.load(taught.dump())
    assert again.state == taught.state
    assert again.run.soils == taught.run.soils
    assert learned(again) == learned(taught)


def test_a_person_can_have_it_forgotten(taught: Engine) -> None:
    before_mm = taught.state.water["south"].depletion_mm
    answer = order(taught, bed="south")
    assert (answer.status, answer.reason) == ("accepted", "forgotten")
    told, fresh = learned(taught), Engine(taught.run.garden).run.soils["south"]
    assert taught.run.soils["south"] == fresh
    assert told["full_m3_m3"] == told["full_told_m3_m3"]
    assert (told["full_since"], told["thirst"]) == (None, 1.0)
    assert RAW not in taught.state.learned
    # the soil holds what it held; full now lies higher
    gained_mm = 1000.0 * taught.state.days["south"].root_depth_m * 0.0305
    assert taught.state.water["south"].depletion_mm == pytest.approx(before_mm + gained_mm)


def test_forgetting_needs_a_bed(taught: Engine) -> None:
    assert order(taught).status == "invalid"
    assert order(taught, bed="nowhere").status == "unknown"
    assert learned(taught)["full_since"] is not None


def renamed(garden: Garden, new: str) -> str:
    probes = {new if name == "south-20" else name: one for name, one in garden.probes.items()}
    south = garden.beds["south"].model_copy(update={"probes": (new, "south-40")})
    beds = {**garden.beds, "south": south}
    return garden.model_copy(update={"probes": probes, "beds": beds}).model_dump_json()


def test_another_probe_under_the_same_name_goes_on_with_it(taught: Engine, garden: Garden) -> None:
    before = taught.dump()
    told = renamed(garden, "south-20")
    taught.step(GardenChanged(at_utc_s=NOW_UTC_S, mono_s=0.0, garden_json=told))
    now, then = json.loads(taught.dump()), json.loads(before)
    assert now["water"] == then["water"]
    assert now["learned"] == then["learned"]


def test_a_probe_with_a_new_name_begins_anew(taught: Engine, garden: Garden) -> None:
    water = taught.state.water["south"]
    sd_before = water.full_sd_m3_m3
    told = renamed(garden, "south-new")
    taught.step(GardenChanged(at_utc_s=NOW_UTC_S, mono_s=0.0, garden_json=told))
    probes = learned(taught)["probes"]
    assert isinstance(probes, dict)
    assert probes["south-new"]["dry_spells"] == 0
    assert water.full_sd_m3_m3 > 1.5 * sd_before  # the other one's error is not known


@pytest.mark.parametrize("version", ["1", "4", "99"])
def test_a_state_of_another_version_is_left_behind_with_a_clear_word(
    taught: Engine, garden: Garden, caplog: pytest.LogCaptureFixture, version: str
) -> None:
    kept = Recovered(
        history="kept",
        stored_epoch=1,
        stored_seq=0,
        ledger=(),
        trusted_s=0.0,
        snapshot=Snapshot(version=version, state_json=taught.dump().decode()),
        events=iter(()),
    )
    with caplog.at_level(logging.WARNING):
        engine, _ = restored(garden, kept)
    assert not engine.state.water
    assert f"engine version {version}, this is {VERSION}" in caplog.text
