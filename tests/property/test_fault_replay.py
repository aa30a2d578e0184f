"""Fault scripts over the engine and real nodes: whatever breaks, no invariant does.

The same scripts break the virtual garden of `thirstline bench --faults` and a replay. A valve that
sticks open is the stated exception of the invariants: it is not drawn here, and has a test of its
own, bounded by the master valve.
"""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from controller.garden import Garden
from sim.fault_lots import names_of, random_faults
from sim.faults import WAYS, Breakage, Fault, FaultScript, Kind, What
from tests.property.test_invariants import GARDENS, Watched

SPAN_S = 4.0 * 3600.0
CALM_S = 3600.0
COUNTED_MORE = {What.LEAK, What.BURST, What.JUMP}  # the meter shows more than the beds drank
VALUES = {
    What.SPIKE: (-0.3, 0.3),
    What.OFFSET: (-0.2, 0.2),
    What.JUMP: (0.1, 500.0),
    What.LOW: (0.0, 1.0),
    What.LEAK: (0.05, 20.0),
    What.STEP: (-400_000.0, 400_000.0),
}


def ways_of(garden: Garden) -> list[tuple[Kind, str, What]]:
    """Everything that can break here, but a valve that sticks open."""
    return [
        (kind, name, what)
        for kind in Kind
        for name in names_of(garden, kind)
        for what in WAYS[kind]
        if what is not What.STUCK_OPEN
    ]


@st.composite
def faults(draw: st.DrawFn, garden: Garden) -> Fault:
    kind, name, what = draw(st.sampled_from(ways_of(garden)))
    start_s = draw(st.integers(0, int(SPAN_S / 10.0))) * 10.0
    lasts_s = draw(st.sampled_from([15.0, 60.0, 300.0, 1800.0, 9000.0, 1e9]))
    value = draw(st.floats(*VALUES[what])) if what in VALUES else 0.0
    end_s = start_s if WAYS[kind][what].moment else start_s + lasts_s
    return Fault(start_s=start_s, end_s=end_s, kind=kind, name=name, what=what, value=value)


def played(garden: Garden, script: FaultScript, seed: int) -> Watched:
    """A thirsty garden under a script; the script ends, an hour of calm, and the books close."""
    bench = Watched(garden, seed)
    bench.measured_more = any(fault.what in COUNTED_MORE for fault in script.faults)
    bench.dry_out(0.6)
    bench.play(script, SPAN_S, tick_s=15.0)
    bench.broken(Breakage())  # everything is mended
    bench.order("stop_all")
    bench.order("lock", why="the end")
    bench.live(CALM_S, tick_s=20.0)
    return bench


@pytest.mark.parametrize("kind", ["all", "meter"])
@settings(
    max_examples=10,
    deadline=None,
    derandomize=True,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(data=st.data())
def test_fault_scripts_break_no_invariant(kind: str, data: st.DataObject) -> None:
    garden = GARDENS[kind]
    drawn = data.draw(st.lists(faults(garden), min_size=1, max_size=8))
    bench = played(garden, FaultScript(faults=tuple(drawn)), seed=1)
    assert bench.open_beds() == []
    bench.check_books()


@pytest.mark.parametrize("seed", range(3))
def test_water_runs_between_the_faults(seed: int) -> None:
    """The oracle has something to watch: beds drink in a garden that breaks again and again."""
    garden = GARDENS["all"]
    drawn = random_faults(garden, SPAN_S, seed, times=150.0)
    script = FaultScript(faults=tuple(f for f in drawn.faults if f.what is not What.STUCK_OPEN))
    assert len(script.faults) >= 5
    bench = played(garden, script, seed)
    bench.check_books()
    assert sum(bench.litres.values()) > 20.0


def test_the_oracle_sees_a_valve_that_sticks_open() -> None:
    """Why it is not drawn: what it passes beyond its last dose is charged to nobody."""
    garden = GARDENS["meter"]
    stuck = Fault(start_s=0.0, kind=Kind.VALVE, name="south", what=What.STUCK_OPEN)
    with pytest.raises(AssertionError, match="I3: south drank uncharged"):
        played(garden, FaultScript(faults=(stuck,)), seed=1)
