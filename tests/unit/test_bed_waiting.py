"""A bed is never dry in silence: called six hours past its floor, and where its hours went by."""

from __future__ import annotations

import pytest

from controller.bed_views import window_now
from controller.events import LedgerEntry
from controller.garden import Garden
from controller.minding import WAITING_CALLS_S, mind_thirst
from controller.state import Watering
from controller.watering.decision import Reason
from controller.watering.guard import caps_of
from controller.watering.words import words
from tests.engine_bench import Bench
from tests.engine_garden import DAY_S, small_garden

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
        bench.live(1.5 * HOUR_S, tick_s=30.0)
        assert waiting(bench) == set()
        bench.restart(600.0)
        bench.connect()
        bench.told_depletion["south"] = 0.8
    bench.live(2.0 * HOUR_S, tick_s=30.0)
    assert bench.litres["south"] == 0.0
    assert waiting(bench) == {"south"}


def test_time_that_nobody_can_vouch_for_counts_as_no_wait() -> None:
    garden = small_garden()
    dry_days = garden.supply.model_copy(update={"days": ("fri",)})
    bench = Bench(garden.model_copy(update={"supply": dry_days}))
    bench.dry_out(0.8, "south")
    bench.live(1.5 * HOUR_S, tick_s=30.0)
    bench.restart(10.0 * HOUR_S, trusted=False)
    bench.connect()
    bench.live(1.0 * HOUR_S, tick_s=30.0)
    assert waiting(bench) == set()


NIGHT = "22:00-01:30"  # it begins at 23:00


def by_night(*beds: str, emitters: int = 48) -> Garden:
    """Water may run on every weekday, in the hours alone."""
    garden = small_garden(beds=beds, emitters=emitters, hours=NIGHT)
    supply = {"days": ("mon", "tue", "wed", "thu", "fri", "sat", "sun")}
    return garden.model_copy(update={"supply": garden.supply.model_copy(update=supply)})


def test_a_bed_at_its_line_whose_hours_went_by_is_called_until_it_drinks() -> None:
    beds = ("east", "low", "middle", "north", "south")
    bench = Bench(by_night(*beds, emitters=16))
    bench.dry_out(0.45, *beds)
    bench.live(5.9 * HOUR_S, tick_s=30.0)
    dry = {bed for bed in beds if bench.litres[bed] == 0.0}
    assert dry
    assert waiting(bench) == set()
    bench.live(1.6 * HOUR_S, tick_s=30.0)  # asked once an hour outside the hours
    assert waiting(bench) == dry
    alerts = bench.engine.state.alerts
    assert all("in hours that are over" in alerts[f"bed_waiting-{bed}"].text for bed in dry)
    bench.live(18.0 * HOUR_S, tick_s=30.0)
    assert all(bench.litres[bed] > 0.0 for bed in dry)
    assert waiting(bench) == set()


def test_a_bed_whose_day_is_spent_is_called_after_its_hours_and_over_a_restart() -> None:
    bench = Bench(by_night("south"))
    most_l = caps_of(bench.engine.run, "south").bed_l_day
    ended_s = bench.trusted_s - 60.0
    bench.engine.state.ledger.append(
        LedgerEntry(dose="0-1", bed="south", charged_l=most_l - 1.0, ended_trusted_s=ended_s)
    )
    bench.dry_out(0.45, "south")
    bench.live(2.0 * HOUR_S, tick_s=30.0)
    assert bench.engine.state.beds["south"].said.code == "cap_spent"
    bench.restart(600.0)
    bench.connect()
    bench.live(3.5 * HOUR_S, tick_s=30.0)
    assert waiting(bench) == set()
    bench.live(1.6 * HOUR_S, tick_s=30.0)
    assert waiting(bench) == {"south"}
    why = bench.engine.state.alerts["bed_waiting-south"].text
    assert words("south", Reason.CAP_SPENT, {"allowed_l": 0.0}) in why


@pytest.mark.parametrize("asked", ["pause", "miss"])
def test_a_bed_that_a_person_holds_back_is_not_called(asked: str) -> None:
    bench = Bench(by_night("south"))
    more = {"until_utc_s": bench.at_utc_s + DAY_S} if asked == "pause" else {}
    bench.order(asked, "south", **more)
    bench.dry_out(0.45, "south")
    bench.live(8.0 * HOUR_S, tick_s=30.0)
    assert bench.litres["south"] == 0.0
    assert waiting(bench) == set()


def test_a_clock_that_is_put_back_hides_no_wait() -> None:
    bench = Bench(by_night("south"))
    bench.engine.state.ledger.append(
        LedgerEntry(dose="0-1", bed="south", charged_l=1e4, ended_trusted_s=bench.trusted_s)
    )
    bench.dry_out(0.45, "south")
    bench.live(1.0 * HOUR_S, tick_s=30.0)
    bench.wall_ahead_s -= 3.0 * DAY_S
    bench.live(9.0 * HOUR_S, tick_s=30.0)
    assert waiting(bench) == {"south"}


def night_at_its_floor(*beds: str) -> Bench:
    """An evening of which the floor is passed six hours before the hours, to the second."""
    bench = Bench(small_garden(beds=beds, hours="22:00-04:00"))
    bench.dry_out(0.2, *beds)
    bench.live(17.0 * HOUR_S - 60.0 - bench.now_s, tick_s=60.0)  # to 15:59
    for bed in beds:
        bench.told_depletion[bed] = 0.9
        bench.engine.state.water[bed].depletion_mm = 0.9 * bench.engine.run.days[bed].taw_mm
    return bench


def test_a_bed_that_is_granted_its_water_at_the_six_hours_is_not_called() -> None:
    bench = night_at_its_floor("south")
    bench.live(6.0 * HOUR_S + 60.0, tick_s=60.0)
    memory = bench.engine.state.beds["south"]
    past_s = bench.mono_s - (memory.past_floor_mono_s or bench.mono_s)
    assert past_s >= WAITING_CALLS_S  # it waited for its hours as long as a bed may
    assert "south" in bench.engine.state.waterings
    bench.live(1800.0, tick_s=20.0)
    assert bench.litres["south"] > 0.0
    assert [n.text for n in bench.notes("alert") if n.code == "bed_waiting"] == []


def granted(bed: str, started_utc_s: float, **more: float) -> Watering:
    """A watering whose first pulse has not begun."""
    return Watering(
        watering=f"9-{bed}",
        bed=bed,
        by="policy",
        want_l=60.0,
        pulses=2,
        pulse_l=30.0,
        pulse_s=1125.0,
        need=1.0,
        until_utc_s=None,
        started_utc_s=started_utc_s,
        **more,
    )


@pytest.mark.parametrize("more_s", [0.0, HOUR_S])
def test_grants_that_fail_time_and_again_hide_no_wait(more_s: float) -> None:
    bench = Bench(small_garden())
    bench.dry_out(0.9)
    run, state = bench.engine.run, bench.engine.state
    state.water["south"].depletion_mm = 0.9 * run.days["south"].taw_mm
    state.beds["south"].past_floor_mono_s = state.mono_s - WAITING_CALLS_S - more_s
    state.waterings["south"] = granted("south", state.at_utc_s)
    mind_thirst(run, "south", window_now(run))
    assert waiting(bench) == ({"south"} if more_s else set())


def test_other_beds_are_named_only_where_they_drink_first() -> None:
    bench = Bench(small_garden(beds=("east", "south")))
    run, state = bench.engine.run, bench.engine.state
    state.water["south"].depletion_mm = 0.9 * run.days["south"].taw_mm
    state.beds["south"].past_floor_mono_s = state.mono_s - WAITING_CALLS_S
    before_utc_s = state.at_utc_s - 60.0
    state.waterings["south"] = granted("south", before_utc_s)
    later = {"next_mono_s": state.mono_s + 600.0}  # east soaks
    state.waterings["east"] = granted("east", before_utc_s, **later)
    mind_thirst(run, "south", window_now(run))
    assert "none has come yet" in state.alerts.pop("bed_waiting-south").text
    state.waterings["east"] = granted("east", before_utc_s)  # by name before it
    mind_thirst(run, "south", window_now(run))
    assert "Other beds drink before it." in state.alerts["bed_waiting-south"].text
