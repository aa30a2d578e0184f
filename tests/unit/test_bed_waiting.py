"""A bed past its floor is called after six hours without water, whatever keeps it from drinking."""

from __future__ import annotations

from tests.engine_bench import Bench
from tests.engine_garden import small_garden

HOUR_S = 3600.0


def waiting(bench: Bench) -> set[str]:
    """Beds that call for water."""
    standing = bench.engine.state.alerts.values()
    return {alert.bed or "" for alert in standing if alert.code == "bed_waiting"}


def test_a_bed_whose_turn_does_not_come_for_six_hours_is_called_until_it_drinks() -> None:
    beds = ("east", "low", "middle", "north", "south")  # of a third of the usual flow
    bench = Bench(small_garden(beds=beds, emitters=16))
    bench.dry_out(0.8, *beds)
    bench.live(5.9 * HOUR_S, tick_s=20.0)
    assert bench.litres["south"] == 0.0
    assert "south" in bench.engine.state.waterings
    assert waiting(bench) == set()
    bench.live(0.6 * HOUR_S, tick_s=20.0)
    assert bench.litres["south"] == 0.0
    assert waiting(bench) == {"south"}
    assert "Other beds drink before it." in bench.engine.state.alerts["bed_waiting-south"].text
    bench.live(5.0 * HOUR_S, tick_s=30.0)
    assert bench.litres["south"] > 0.0
    assert waiting(bench) == set()


def test_restarts_do_not_begin_the_six_hours_anew() -> None:
    garden = small_garden()
    dry_days = garden.supply.model_copy(update={"days": ("fri",)})  # it begins on a Tuesday
    bench = Bench(garden.model_copy(update={"supply": dry_days}))
    bench.dry_out(0.8, "south")
    for _ in range(3):
        bench.live(1.5 * HOUR_S, tick_s=60.0)
        assert waiting(bench) == set()
        bench.restart(600.0)
        bench.connect()
        bench.told_depletion["south"] = 0.8
    bench.live(2.0 * HOUR_S, tick_s=60.0)
    assert bench.litres["south"] == 0.0
    assert waiting(bench) == {"south"}


def test_time_that_nobody_can_vouch_for_counts_as_no_wait() -> None:
    garden = small_garden()
    dry_days = garden.supply.model_copy(update={"days": ("fri",)})
    bench = Bench(garden.model_copy(update={"supply": dry_days}))
    bench.dry_out(0.8, "south")
    bench.live(1.5 * HOUR_S, tick_s=60.0)
    bench.restart(10.0 * HOUR_S, trusted=False)
    bench.connect()
    bench.live(1.0 * HOUR_S, tick_s=60.0)
    assert waiting(bench) == set()
