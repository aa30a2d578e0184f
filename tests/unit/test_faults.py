"""Fault scripts: the file and its refusals, what is broken when, and faults drawn from a seed."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from click.testing import CliRunner

from api.cli import main
from controller.errors import UsageError, WrongUseError
from controller.garden import Garden, load_garden
from sim.examples import FAULTS, example_names, find_garden
from sim.fault_file import bench_faults, read_faults
from sim.fault_lots import USUAL, Usual, names_of, random_faults
from sim.faults import (
    NAMED,
    WAYS,
    Breakage,
    Fault,
    FaultPlayer,
    FaultScript,
    Kind,
    What,
    broken_by,
)

README = Path(__file__).parents[2] / "README.md"
START_UTC_S = 1_782_864_000.0  # 2026-07-01T00:00:00Z
DAY_S = 86_400.0


@pytest.fixture(scope="module")
def garden() -> Garden:
    return load_garden(find_garden("hollin-lane"))


def read(tmp_path: Path, garden: Garden, text: str) -> FaultScript:
    path = tmp_path / "faults.toml"
    path.write_text(text, encoding="utf-8")
    return read_faults(path, garden, START_UTC_S)


def entry(**more: str) -> str:
    keys = {"at": '"1h"', "which": '"valve:south"', "what": '"stuck_open"', **more}
    return "[[fault]]\n" + "".join(f"{key} = {value}\n" for key, value in keys.items() if value)


# -- the file


@pytest.mark.parametrize(
    ("at", "start_s"),
    [
        ('"90s"', 90.0),
        ('"1.5h"', 5400.0),
        ('"2d"', 172_800.0),
        ('"2026-07-03T02:10:00Z"', 180_600.0),
        ("2026-07-03T02:10:00Z", 180_600.0),
        ('"2026-07-02T19:10:00-07:00"', 180_600.0),
    ],
    ids=["seconds", "part-hours", "days", "utc", "toml-instant", "offset"],
)
def test_a_fault_begins_where_the_file_says(
    tmp_path: Path, garden: Garden, at: str, start_s: float
) -> None:
    fault = read(tmp_path, garden, entry(at=at)).faults[0]
    assert (fault.start_s, fault.end_s) == (start_s, math.inf)
    assert (fault.kind, fault.name, fault.what) == (Kind.VALVE, "south", What.STUCK_OPEN)


def test_a_fault_lasts_as_long_as_the_file_says(tmp_path: Path, garden: Garden) -> None:
    text = entry(**{"which": '"supply"', "what": '"low"', "value": "0.4", "for": '"20m"'})
    fault = read(tmp_path, garden, text).faults[0]
    assert (fault.start_s, fault.end_s, fault.value) == (3600.0, 4800.0, 0.4)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"which": '"valve:sout"'}, "which: 'valve:sout' is not in this garden; the nearest is "),
        ({"which": '"valve"'}, "which: 'valve' is not in this garden; the nearest is valve:"),
        ({"which": '"fence"'}, "which: 'fence' is not in this garden; known are valve:south"),
        ({"which": ""}, "which: is missing"),
        ({"which": "7"}, "which: 7 is no text"),
        ({"what": '"frozen"'}, "what: 'frozen' is no way for a valve; known are stuck_open, "),
        ({"at": ""}, "at: is missing; allowed is an instant or a span such as 90s"),
        ({"at": "3600"}, "at: 3600 is no instant with its offset; allowed is 2026-07-03T02:10:00Z"),
        ({"at": '"2026-07-03T02:10:00"'}, "is no instant with its offset"),
        ({"at": '"2026-06-30T23:59:59Z"'}, "within 400 days of the start at 2026-07-01T00:00:00Z"),
        ({"at": '"2015-07-03T02:10:00Z"'}, "within 400 days of the start"),
        ({"for": '"soon"'}, "for: 'soon' is not a span such as 90s"),
        ({"for": '"0s"'}, "for: '0s' is no time at all"),
        ({"for": '"999d"'}, "for: '999d' is not a span such as 90s, 20m, 36h or 2d, at most 400d"),
        ({"what": '"reboot"', "for": '"1h"'}, "for: '1h': this happens at a moment"),
        ({"value": "1.0"}, "value: 1: stuck_open takes no value"),
        ({"which": '"supply"', "what": '"low"'}, "value: is missing; allowed is 0 to 1 "),
        ({"which": '"supply"', "what": '"leak"', "value": "nan"}, "value: nan is not possible"),
        ({"which": '"supply"', "what": '"low"', "value": "true"}, "value: true is not possible"),
        ({"which": '"supply"', "what": '"low"', "value": "1.5"}, "value: 1.5 is not possible"),
        ({"wich": '"supply"'}, "wich: there is no such key; the nearest is which"),
    ],
)  # fmt: skip
def test_a_wrong_entry_is_told_with_file_number_key_and_what_is_allowed(
    tmp_path: Path, garden: Garden, more: dict[str, str], said: str
) -> None:
    with pytest.raises(UsageError) as caught:
        read(tmp_path, garden, entry() + entry(**more))
    assert str(caught.value).startswith("faults.toml: fault 2: ")
    assert said in str(caught.value)


def test_all_that_is_wrong_is_told_at_once(tmp_path: Path, garden: Garden) -> None:
    with pytest.raises(UsageError) as caught:
        read(tmp_path, garden, "speed = 3\n" + entry(at='"x"') + entry() + entry(what='"x"'))
    lines = str(caught.value).split("\n")
    assert [line.split(":")[1] for line in lines] == [" 'speed'", " fault 1", " fault 3"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[fault]\nat = 1\n", "is no list of tables; write [[fault]]"),
        ("[[fault]\n", "faults.toml line 1, column 8: is no TOML"),
        ("", "faults.toml: is empty"),
        ("# nothing\n", "faults.toml: fault: 'nothing' is no list of tables; write [[fault]]"),
    ],
    ids=["one-table", "no-toml", "empty", "no-fault"],
)
def test_a_file_that_is_no_script_is_refused(
    tmp_path: Path, garden: Garden, text: str, said: str
) -> None:
    with pytest.raises(UsageError) as caught:
        read(tmp_path, garden, text)
    assert said in str(caught.value)


def test_no_file_and_a_folder_are_refused(tmp_path: Path, garden: Garden) -> None:
    with pytest.raises(UsageError, match=r"none.toml: there is no such file"):
        read_faults(tmp_path / "none.toml", garden, START_UTC_S)
    with pytest.raises(UsageError, match=r"is a folder; a file of \[\[fault\]\] tables is needed"):
        read_faults(tmp_path, garden, START_UTC_S)


def test_the_example_fits_the_example_garden(garden: Garden) -> None:
    script = bench_faults(FAULTS, garden, START_UTC_S)
    assert "faults" not in example_names()  # which are gardens
    assert [fault.which for fault in script.faults] == [
        "probe:south-20", "meter:main", "network", "supply", "valve:wall",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("which", "what", "value"),
    [("clock", "step", "60"), ("store", "refuse", ""), ("power", "controller_down", "")],
)
def test_a_bench_cannot_break_the_controllers_own_board(
    tmp_path: Path, garden: Garden, which: str, what: str, value: str
) -> None:
    path = tmp_path / "faults.toml"
    path.write_text(entry(which=f'"{which}"', what=f'"{what}"', value=value))
    with pytest.raises(WrongUseError) as caught:
        bench_faults(path, garden, START_UTC_S)
    assert f"faults.toml: {which} {what}: a bench stands in for the hardware" in str(caught.value)
    assert "valve, probe, meter, weather, supply, network, and power with nodes_reboot" in str(
        caught.value
    )


# -- what is broken when


def fault(
    what: What, start_s: float, end_s: float, *, value: float = 0.0, kind: Kind = Kind.SUPPLY
) -> Fault:
    name = "south" if kind is Kind.VALVE else ""
    return Fault(start_s=start_s, end_s=end_s, kind=kind, name=name, what=what, value=value)


class Told:
    """Something breakable that writes down what it is told."""

    def __init__(self) -> None:
        self.heard: list[tuple[str, float] | str] = []

    def broken(self, now: Breakage) -> None:
        self.heard.append(("supply", now.supply_frac))

    def happened(self, fault: Fault) -> None:
        self.heard.append(str(fault.what))


def test_each_change_is_told_once_and_in_order() -> None:
    player = FaultPlayer(
        FaultScript(
            faults=(
                fault(What.REBOOT, 20.0, 20.0, kind=Kind.VALVE),
                fault(What.LOST, 20.0, 30.0),
                fault(What.LOW, 10.0, 20.0, value=0.5),
            )
        )
    )
    told = Told()
    seen = []
    for now_s in (0.0, 10.0, 10.0, 19.9, 25.0, 1000.0, 2000.0):
        player.play(now_s, told)
        seen.append((list(told.heard), player.next_change_s()))
        told.heard.clear()
    assert seen == [
        ([], 10.0),
        ([("supply", 0.5)], 20.0),
        ([], 20.0),
        ([], 20.0),
        ([("supply", 0.0), "reboot"], 30.0),
        ([("supply", 1.0)], math.inf),
        ([], math.inf),
    ]


def test_faults_that_overlap_are_all_there_until_the_last_ends() -> None:
    script = FaultScript(
        faults=(
            fault(What.LEAK, 0.0, 100.0, value=2.0),
            fault(What.LEAK, 50.0, 200.0, value=3.0),
            fault(What.LOW, 60.0, 300.0, value=0.5),
            fault(What.LOW, 70.0, 80.0, value=0.2),
        )
    )
    at = {at_s: script.broken_at(at_s) for at_s in (0.0, 60.0, 75.0, 150.0, 250.0, 300.0)}
    assert [(b.leak_l_min, b.supply_frac) for b in at.values()] == [
        (2.0, 1.0), (5.0, 0.5), (5.0, 0.2), (3.0, 0.5), (0.0, 0.5), (0.0, 1.0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("faults", "leaks", "left"),
    [
        ((fault(What.LEAK, 0.0, 9.0, value=2.0),), 2.0, 12.0),
        ((fault(What.BURST, 0.0, 9.0),), 14.0, 0.0),
        ((fault(What.LEAK, 0.0, 9.0, value=8.0), fault(What.LOW, 0.0, 9.0, value=0.5)), 7.0, 0.0),
        ((fault(What.LOST, 0.0, 9.0), fault(What.BURST, 0.0, 9.0)), 0.0, 0.0),
    ],
    ids=["leak", "burst", "leak-of-a-low-supply", "burst-of-a-lost-supply"],
)
def test_what_runs_off_is_not_there_for_the_beds(
    faults: tuple[Fault, ...], leaks: float, left: float
) -> None:
    now = broken_by(faults)
    assert now.leaks_l_min(14.0) == pytest.approx(leaks)
    assert now.left_l_min(14.0) == pytest.approx(left)


@pytest.mark.parametrize(
    ("kind", "what"),
    [(kind, what) for kind in Kind for what in WAYS[kind] if not WAYS[kind][what].moment],
    ids=str,
)
def test_every_lasting_fault_leaves_something_broken(kind: Kind, what: What) -> None:
    name = "x" if kind in NAMED else ""
    one = Fault(start_s=0.0, kind=kind, name=name, what=what, value=WAYS[kind][what].low)
    assert broken_by([one]) != Breakage()
    assert not one.moment


def test_two_scripts_add_up_in_order() -> None:
    one = FaultScript(begin_utc_s=5.0, faults=(fault(What.LOST, 30.0, 40.0),))
    both = one + FaultScript(faults=(fault(What.LOST, 10.0, 20.0),))
    assert both.begin_utc_s == 5.0
    assert both.changes_s() == (10.0, 20.0, 30.0, 40.0)


# -- faults drawn from a seed


def test_the_same_seed_draws_the_same_faults(garden: Garden) -> None:
    drawn = random_faults(garden, 200 * DAY_S, 7)
    assert drawn == random_faults(garden, 200 * DAY_S, 7)
    assert drawn != random_faults(garden, 200 * DAY_S, 8)
    assert len(drawn.faults) > 50


def test_one_probe_less_changes_nothing_for_the_others(garden: Garden) -> None:
    probes = {name: probe for name, probe in garden.probes.items() if name != "wall-20"}
    fewer = garden.model_copy(update={"probes": probes})
    drawn = random_faults(garden, 200 * DAY_S, 7).faults
    assert any(one.name == "wall-20" for one in drawn)
    rest = tuple(one for one in drawn if one.name != "wall-20")
    assert random_faults(fewer, 200 * DAY_S, 7).faults == rest


def test_every_way_to_break_can_be_drawn_and_its_values_fit(garden: Garden) -> None:
    assert set(USUAL) == {(kind, what) for kind in Kind for what in WAYS[kind]}
    drawn = random_faults(garden, 200 * DAY_S, 3, times=50.0).faults
    assert {(one.kind, one.what) for one in drawn} == set(USUAL)
    for one in drawn:
        way, how = WAYS[one.kind][one.what], USUAL[one.kind, one.what]
        assert 0.0 <= one.start_s < 200 * DAY_S
        assert way.low <= one.value <= way.high
        if one.moment:
            assert one.end_s == one.start_s
        else:
            lasts_s = one.end_s - one.start_s
            assert how.shortest_s <= lasts_s + 1e-3
            assert lasts_s <= how.longest_s + 1e-3
        assert one.name in names_of(garden, one.kind)


@pytest.mark.parametrize(("times", "mean"), [(1.0, 40.0), (2.0, 80.0)], ids=["once", "twice"])
def test_faults_come_as_often_as_the_table_says(garden: Garden, times: float, mean: float) -> None:
    usual = {(Kind.POWER, What.NODES_REBOOT): Usual(every_d=5.0)}
    counts = [
        len(random_faults(garden, 200 * DAY_S, seed, times=times, usual=usual).faults)
        for seed in range(100)
    ]
    # a Poisson count of this mean has this variance; the mean of 100 is within 4 of its errors
    assert abs(sum(counts) / 100.0 - mean) < 4.0 * math.sqrt(mean / 100.0)


def span(seconds: float) -> str:
    for unit, name in ((DAY_S, "d"), (3600.0, "h"), (60.0, "min")):
        if seconds >= unit:
            return f"{seconds / unit:g} {name}"
    return f"{seconds:g} s"


def test_the_script_for_people_can_be_read(tmp_path: Path, garden: Garden) -> None:
    text = README.read_text(encoding="utf-8").split("### Faults on purpose")[1].split("```")[1]
    fault = read(tmp_path, garden, text.removeprefix("text")).faults[0]
    assert (fault.which, fault.end_s - fault.start_s) == ("valve:wall", 1200.0)


def test_the_table_for_people_says_what_the_tables_here_say() -> None:
    text = README.read_text(encoding="utf-8").split("### Faults on purpose")[1].split("\n##")[0]
    rows = [line.split(" | ") for line in text.split("\n") if line.startswith("| `")][1:]
    wanted = []
    for kind in Kind:
        for what, way in WAYS[kind].items():
            how = USUAL[kind, what]
            lasts = "" if way.moment else f", {span(how.shortest_s)} to {span(how.longest_s)}"
            which = f"{kind}:ID" if kind in NAMED else f"{kind}"
            often = f"{how.every_d:g} d{lasts} |"
            wanted.append((f"| `{which}`", f"`{what}`", way.unit, often))
    assert [(row[0], row[1], row[3].split(",")[0], row[4]) for row in rows] == wanted


@pytest.mark.parametrize(
    ("text", "status", "said"),
    [
        (entry(which='"valve:x"'), 1, "faults.toml: fault 1: which: 'valve:x' is not in this"),
        (entry(which='"store"', what='"refuse"'), 2, "cannot reach the controller"),
    ],
    ids=["wrong-script", "not-from-here"],
)
def test_bench_refuses_a_script_before_it_begins(
    tmp_path: Path, text: str, status: int, said: str
) -> None:
    path = tmp_path / "faults.toml"
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(main, ["bench", "hollin-lane", "--faults", str(path)])
    assert (done.exit_code, said in done.output) == (status, True)
