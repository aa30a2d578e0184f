"""A meter that says nothing is called within a quarter of an hour, whether water runs or not.

Burst, leak and a valve that stays open are seen by it alone.
"""

from __future__ import annotations

import pytest

from sim.faults import Breakage
from tests.engine_bench import Bench
from tests.engine_garden import small_garden

QUARTER_HOUR_S = 900.0
SILENT = Breakage(silent={"meter:main"})


@pytest.fixture
def bench() -> Bench:
    made = Bench(small_garden(master=True, meter=True))
    made.told_depletion["south"] = 0.1  # nothing to drink for
    made.live(1200.0)
    assert made.alert_codes() == set()
    return made


@pytest.mark.hazard("M3")
def test_a_meter_silent_while_nothing_drinks_is_called_and_its_words_end_it(bench: Bench) -> None:
    bench.broken(SILENT)
    bench.live(600.0)
    assert bench.alert_codes() == set()  # in a replay it speaks every ten minutes
    bench.live(QUARTER_HOUR_S - 600.0)
    assert bench.alert_codes() == {"meter_fault"}
    bench.live(3600.0)
    assert [note.code for note in bench.notes("alert")].count("meter_fault") == 1
    bench.broken(Breakage())
    bench.live(60.0)
    assert bench.alert_codes() == set()


@pytest.mark.hazard("M3")
def test_doses_go_on_by_time_and_the_call_stands() -> None:
    bench = Bench(small_garden(master=True, meter=True))
    bench.broken(SILENT)
    bench.live(QUARTER_HOUR_S)
    bench.dry_out(0.6, "south")
    bench.live(4 * 3600.0, tick_s=10.0)
    assert bench.litres["south"] > 50.0  # no drought for it
    assert "meter_fault" in bench.alert_codes()


@pytest.mark.hazard("M3")
def test_without_contact_no_meter_is_called(bench: Bench) -> None:
    bench.disconnect()
    bench.live(2 * QUARTER_HOUR_S)
    assert bench.alert_codes() == {"link_lost"}
    bench.connect()
    bench.live(QUARTER_HOUR_S)
    assert "meter_fault" not in bench.alert_codes()


@pytest.mark.hazard("M3")
def test_a_meter_that_never_spoke_since_the_start_is_called_too(bench: Bench) -> None:
    bench.broken(SILENT)
    bench.restart(60.0)
    bench.connect()
    bench.live(2 * QUARTER_HOUR_S)
    assert "meter_fault" in bench.alert_codes()
