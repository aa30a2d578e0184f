"""Sweeps: what is varied, what a run is, the file of rows, and the bands over them."""

from __future__ import annotations

import dataclasses
import os
import signal
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from controller.errors import UsageError, WrongUseError
from controller.garden_file import read_document
from sim import sweep as sweeping
from sim.examples import find_garden
from sim.sweep import Sweep, run_all, runner, weather_of
from sim.sweep_file import SweepFile
from sim.sweep_rows import BedRow, Row, Task, run_task
from sim.sweep_summary import as_markdown, as_text, differences, summary
from sim.sweep_vary import parse_vary, settings_of

BEDS = ("south", "wall", "low", "hedge")
SWEPT = {"garden": "plot", "program digest": "a1"}


def document() -> dict[str, Any]:
    return read_document(find_garden("hollin-lane")).data


def a_sweep(**told: Any) -> Sweep:
    usual: dict[str, Any] = {
        "settings": tuple(settings_of(document(), [])),
        "seasons": ("invented-dry",),
        "seeds": (1,),
        "policies": ("daily-clock",),
        "first": date(2025, 7, 1),
        "last": date(2025, 7, 2),
    }
    return Sweep(**(usual | told))


@pytest.fixture(scope="module")
def task() -> Task:
    return a_sweep().tasks(weather_of)[0]


def bed_row(**told: Any) -> BedRow:
    usual: dict[str, Any] = {
        "litres": 100.5,
        "waterings": 2,
        "drained_l": 10.0,
        "dawns_past_floor": 0,
        "dawns_far_past_floor": 0,
        "worst_past_floor_frac": 0.0,
        "summer_days_between_d": 3.25,
        "sudden_rewettings": 1,
        "relative_yield_frac": 0.9,
        "max_depletion_frac": 0.5,
        "last_dawn_depletion_frac": 0.25,
    }
    return BedRow(**(usual | told))


def a_row(**told: Any) -> Row:
    usual: dict[str, Any] = {
        "key": "k1",
        "season": "invented-dry",
        "first": "2025-07-01",
        "last": "2025-07-02",
        "seed": 1,
        "setting": "",
        "policy": "thirstline",
        "rain_mm": 1.5,
        "eto_mm": 10.0,
        "litres": 200.0,
        "waterings": 4,
        "dawns_past_floor": 0,
        "dawns_past_line": 3,
        "sudden_rewettings": 2,
        "drained_l": 20.0,
        "rain_drained_l": 0.1,
        "relative_yield_frac": 0.95,
        "max_depletion_frac": 0.5,
        "alerts": 0,
        "wall_s": 0.125,
        "beds": (
            ("a", bed_row()),
            ("b", bed_row(last_dawn_depletion_frac=None, summer_days_between_d=None)),
        ),
    }
    return Row(**(usual | told))


# -- what is varied


def test_keys_and_values_are_taken_apart_and_trimmed() -> None:
    found = parse_vary(" lean = 0.2, 0.5 ")
    assert (found.key, found.values) == ("lean", ("0.2", "0.5"))


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("lean", id="no-values"),
        pytest.param("lean=", id="empty"),
        pytest.param("=0.2", id="no-key"),
        pytest.param("lean=0.2,,0.5", id="hole"),
        pytest.param("lean=0.2,0.2", id="twice"),
    ],
)
def test_a_malformed_vary_is_refused(text: str) -> None:
    with pytest.raises(WrongUseError, match="--vary"):
        parse_vary(text)


def test_a_beds_key_holds_for_every_bed() -> None:
    low, high = settings_of(document(), [parse_vary("lean=0.2,0.8")])
    assert (low.words, high.words) == ("lean=0.2", "lean=0.8")
    assert [bed.lean for bed in low.garden.beds.values()] == [0.2] * 4
    assert [bed.lean for bed in high.garden.beds.values()] == [0.8] * 4


def test_a_whole_name_holds_for_one_bed_or_table() -> None:
    (one,) = settings_of(document(), [parse_vary("beds.south.mulch=plastic")])
    assert one.garden.beds["south"].mulch == "plastic"
    assert one.garden.beds["wall"].mulch == "straw"
    (other,) = settings_of(document(), [parse_vary("garden.hours=always")])
    assert other.garden.garden.hours == "always"


def test_a_table_that_the_file_leaves_out_can_be_varied() -> None:
    (one,) = settings_of(document(), [parse_vary("limits.dose_l=400")])
    assert one.garden.limits.dose_l == 400.0


def test_a_date_is_a_date() -> None:
    (one,) = settings_of(document(), [parse_vary("transplanted=2026-06-01")])
    assert one.garden.beds["low"].transplanted == date(2026, 6, 1)


def test_what_the_file_derives_follows_what_is_varied() -> None:
    (one,) = settings_of(document(), [parse_vary("beds.south.lines=1")])
    assert one.garden.beds["south"].wetted_width_m == 0.5


def test_several_keys_give_every_combination_the_first_slowest() -> None:
    found = settings_of(document(), [parse_vary("lean=0.2,0.8"), parse_vary("mulch=none,straw")])
    assert [one.words for one in found] == [
        "lean=0.2 mulch=none",
        "lean=0.2 mulch=straw",
        "lean=0.8 mulch=none",
        "lean=0.8 mulch=straw",
    ]


def test_the_garden_files_own_tables_stay_as_they_are() -> None:
    told = document()
    settings_of(told, [parse_vary("lean=0.2"), parse_vary("limits.dose_l=400")])
    assert told == document()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param("leen=0.2", "there is no 'leen'; the nearest is lean;", id="unknown-bed-key"),
        pytest.param("beds.sooth.lean=0.2", "the nearest is south; names in", id="unknown-bed"),
        pytest.param("beds.south.leen=0.2", "beds.south.leen: there is no such", id="key-of-one"),
        pytest.param("limit.dose_l=4", "the nearest is limits; tables are", id="unknown-table"),
        pytest.param("supply.flow=4", "the nearest is flow_l_min", id="unknown-table-key"),
        pytest.param("lean=0.2,1.4", "beds.wall.lean: 1.4 is outside 0 to 1", id="out-of-range"),
        pytest.param("lean=nan", "lean=nan: beds.south.lean:", id="nan"),
        pytest.param("lean=true", "beds.south.lean:", id="truth-value"),
        pytest.param("mulch=hay", "beds.south.mulch: 'hay'", id="unknown-word"),
        pytest.param("valve=south", "--vary valve=south:", id="clash-of-beds"),
        pytest.param("garden.hours.x=1", "'hours' is no table", id="below-a-value"),
    ],
)
def test_what_the_garden_file_would_refuse_is_refused_by_name(text: str, said: str) -> None:
    with pytest.raises(WrongUseError) as caught:
        settings_of(document(), [parse_vary(text)])
    assert str(caught.value).startswith("--vary ")
    assert said in str(caught.value)


def test_a_key_that_is_varied_twice_is_refused() -> None:
    with pytest.raises(WrongUseError, match="twice"):
        settings_of(document(), [parse_vary("lean=0.2"), parse_vary("lean=0.3")])


# -- a run


def test_every_combination_is_a_task_with_a_key_of_its_own() -> None:
    planned = a_sweep(
        settings=tuple(settings_of(document(), [parse_vary("lean=0.2,0.8")])),
        seasons=("invented-dry", "invented-wet"),
        seeds=(1, 2, 3),
        policies=("thirstline", "daily-clock"),
    )
    tasks = planned.tasks(weather_of)
    assert len(tasks) == 2 * 2 * 3 * 2
    assert len({one.key for one in tasks}) == len(tasks)
    assert tasks == planned.tasks(weather_of)


@pytest.mark.parametrize(
    "change",
    [
        {"garden": "{}"},
        {"season_digest": "x"},
        {"seed": 2},
        {"sure": True},
        {"policy": "thirstline"},
        {"first": None},
        {"last": None},
        {"code": "x"},
    ],
    ids=lambda change: next(iter(change)),
)
def test_the_key_knows_all_that_a_row_depends_on(task: Task, change: dict[str, Any]) -> None:
    assert dataclasses.replace(task, **change).key != task.key


def test_a_run_gives_the_same_row_again_and_another_seed_another(task: Task) -> None:
    row = run_task(task)
    assert row.without_time() == run_task(task).without_time()
    other = run_task(dataclasses.replace(task, seed=2))
    assert (row.litres, row.beds) != (other.litres, other.beds)
    assert tuple(name for name, _ in row.beds) == BEDS
    assert row.litres == pytest.approx(sum(bed.litres for _, bed in row.beds), abs=0.3)
    assert (row.first, row.last, row.season) == ("2025-07-01", "2025-07-02", "invented-dry")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        pytest.param({"code": "x"}, "this worker has another program", id="other-program"),
        pytest.param({"season_digest": "x"}, "not the weather", id="other-weather"),
        pytest.param({"last": date(2025, 6, 1)}, "is not before", id="no-span"),
    ],
)
def test_a_run_that_cannot_be_done_says_which_it_was(
    task: Task, change: dict[str, Any], said: str
) -> None:
    with pytest.raises(UsageError, match=said) as caught:
        run_task(dataclasses.replace(task, **change))
    assert str(caught.value).startswith("invented-dry, seed 1, daily-clock: ")


def test_the_weather_of_a_file_goes_with_the_task(tmp_path: Path) -> None:
    lines = [f"2025-07-{day:02d},12.0,26.0,0.0" for day in range(1, 11)]
    path = tmp_path / "july.csv"
    path.write_text("\n".join(["date,tmin_c,tmax_c,rain_mm", *lines]) + "\n", encoding="utf-8")
    told = document()
    for bed in told["beds"].values():
        bed["transplanted"], bed["cleared"] = date(2025, 7, 1), date(2025, 7, 9)
    planned = a_sweep(settings=tuple(settings_of(told, [])), seasons=(str(path),))
    (one,) = planned.tasks(weather_of)
    path.unlink()  # another machine does not have it
    assert run_task(one).season == str(path)


# -- spreading the work


def test_rows_that_are_there_are_not_run_again(task: Task) -> None:
    other = dataclasses.replace(task, seed=2)
    run: list[Task] = []

    def spread(tasks: Sequence[Task]) -> Iterator[Row]:
        run.extend(tasks)
        return (a_row(key=one.key) for one in tasks)

    ended: list[Row] = []
    assert run_all([task, other], spread, {task.key: a_row()}, ended.append)
    assert run == [other]
    assert [row.key for row in ended] == [other.key]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["ctrl-c", "sigterm"])
def test_an_interrupt_keeps_what_has_ended(task: Task, number: signal.Signals) -> None:
    def spread(_: Sequence[Task]) -> Iterator[Row]:
        yield a_row()
        os.kill(os.getpid(), number)
        yield a_row(key="never")

    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background ignores it
    before = signal.getsignal(signal.SIGTERM)
    ended: list[Row] = []
    assert not run_all([task], spread, {}, ended.append)
    assert [row.key for row in ended] == ["k1"]
    assert signal.getsignal(signal.SIGTERM) == before


@pytest.mark.parametrize(("rows", "all_done"), [(1, False), (2, True)], ids=["first", "last"])
def test_an_interrupt_at_the_last_row_comes_too_late_to_stop_anything(
    task: Task, rows: int, all_done: bool
) -> None:
    def ended(row: Row) -> None:
        if row.key == f"k{rows}":
            os.kill(os.getpid(), signal.SIGINT)

    def spread(_: Sequence[Task]) -> Iterator[Row]:
        yield a_row(key="k1")
        yield a_row(key="k2")

    assert run_all([task, task], spread, {}, ended) is all_done


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["ctrl-c", "sigterm"])
def test_an_interrupt_while_a_row_is_written_lets_it_be_written(
    number: signal.Signals, capfd: pytest.CaptureFixture[str]
) -> None:
    # Warnings are errors in these tests: joblib would warn that runs are given up.
    tasks = a_sweep(seeds=tuple(range(1, 41))).tasks(weather_of)
    began: list[str] = []
    written: list[str] = []

    def ended(row: Row) -> None:
        began.append(row.key)
        if len(began) == 2:
            os.kill(os.getpid(), number)
        written.append(row.key)

    assert not run_all(tasks, runner(2, None), {}, ended)
    assert written == began
    assert len(written) == 2
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    ("jobs", "dask", "said"),
    [
        pytest.param(2, None, r"joblib.*thirstline\[sweep\]", id="cores"),
        pytest.param(None, None, r"joblib.*thirstline\[sweep\]", id="all-cores"),
        pytest.param(1, "tcp://127.0.0.1:1", r"distributed.*thirstline\[dask\]", id="cluster"),
    ],
)
def test_a_missing_package_is_said_with_how_to_install_it(
    monkeypatch: pytest.MonkeyPatch, jobs: int | None, dask: str | None, said: str
) -> None:
    def missing(name: str) -> None:
        raise ModuleNotFoundError(name)

    monkeypatch.setattr(sweeping.importlib, "import_module", missing)
    with pytest.raises(UsageError, match=said):
        runner(jobs, dask)


def test_one_process_needs_no_package(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> None:
        raise ModuleNotFoundError(name)

    monkeypatch.setattr(sweeping.importlib, "import_module", missing)
    assert list(runner(1, None)([])) == []


# -- the file of rows


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A file with two rows."""
    made = tmp_path / "rows.csv"
    with SweepFile(made, SWEPT, ("a", "b")) as file:
        file.add(a_row())
        file.add(a_row(key="k2", season='a "dry", hot one', setting="lean=0.2"))
    return made


def test_rows_come_back_as_they_were_written(path: Path) -> None:
    with SweepFile(path, SWEPT, ("a", "b")) as file:
        assert file.dropped is None
        assert list(file.kept) == ["k1", "k2"]
        assert file.kept["k1"] == a_row()
        assert file.kept["k2"] == a_row(key="k2", season='a "dry", hot one', setting="lean=0.2")


def test_the_columns_say_their_units(path: Path) -> None:
    mark, columns, *_ = path.read_text(encoding="utf-8").splitlines()
    assert mark.startswith("# thirstline sweep {")
    assert '"garden": "plot"' in mark
    names = columns.split(",")
    assert names[:7] == ["key", "season", "first", "last", "seed", "setting", "policy"]
    assert {"rain_mm", "litres", "drained_l", "a.litres", "b.last_dawn_depletion_frac"} <= set(
        names
    )


@pytest.mark.parametrize("cut", [1, 2, 30], ids=["newline", "digit", "half"])
def test_a_torn_last_line_is_dropped_and_said(path: Path, cut: int) -> None:
    whole = path.read_bytes()
    path.write_bytes(whole[:-cut])
    with SweepFile(path, SWEPT, ("a", "b")) as file:
        assert list(file.kept) == ["k1"]
        assert file.dropped is not None
        assert "cut off" in file.dropped
        file.add(a_row(key="k2", season='a "dry", hot one', setting="lean=0.2"))
    assert path.read_bytes() == whole


@pytest.mark.parametrize("kept", [0, 5, 30, 70], ids=["empty", "mark", "swept", "columns"])
def test_a_file_torn_at_its_head_begins_anew(path: Path, kept: int) -> None:
    head = b"".join(path.read_bytes().splitlines(keepends=True)[:2])
    path.write_bytes(head[:kept])
    with SweepFile(path, SWEPT, ("a", "b")) as file:
        assert file.kept == {}
    assert path.read_bytes() == head


@pytest.mark.parametrize(
    ("swept", "said"),
    [
        pytest.param({**SWEPT, "garden": "field"}, "garden plot, this one has field", id="garden"),
        pytest.param({**SWEPT, "program digest": "b2"}, "program digest a1", id="program"),
        pytest.param({**SWEPT, "world": "sure"}, "world None, this one has sure", id="more"),
    ],
)
def test_the_file_of_another_sweep_is_refused_and_left_alone(
    path: Path, swept: dict[str, str], said: str
) -> None:
    before = path.read_bytes()
    with pytest.raises(UsageError, match=said):
        SweepFile(path, swept, ("a", "b"))
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("content", "said"),
    [
        pytest.param(b"date,tmin_c\n2025-07-01,3\n", "is not the file of a sweep", id="weather"),
        pytest.param(b"no newline", "is not the file of a sweep", id="text"),
        pytest.param(b"\xff\xfe\x00", "cannot be read", id="binary"),
        pytest.param(b"# thirstline sweep x\n", "does not say what was swept", id="bad-mark"),
    ],
)
def test_a_file_that_is_no_sweeps_is_left_as_it_is(
    tmp_path: Path, content: bytes, said: str
) -> None:
    path = tmp_path / "other.csv"
    path.write_bytes(content)
    with pytest.raises(UsageError, match=said):
        SweepFile(path, SWEPT, ("a", "b"))
    assert path.read_bytes() == content


def test_a_damaged_row_is_named_by_its_line(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("200.0", "2oo.0", 1), encoding="utf-8")
    with pytest.raises(UsageError, match="line 3: is no row"):
        SweepFile(path, SWEPT, ("a", "b"))


def test_two_sweeps_do_not_write_one_file(path: Path) -> None:
    with (
        SweepFile(path, SWEPT, ("a", "b")),
        pytest.raises(UsageError, match="another sweep is writing it"),
    ):
        SweepFile(path, SWEPT, ("a", "b"))


def test_a_file_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be opened: No such file"):
        SweepFile(tmp_path / "none" / "rows.csv", SWEPT, ("a", "b"))


# -- bands


def three_seeds(policy: str, setting: str, litres: tuple[float, ...]) -> list[Row]:
    return [
        a_row(
            key=f"{policy}{setting}{seed}",
            policy=policy,
            setting=setting,
            seed=seed,
            litres=given_l,
            drained_l=0.1 * given_l,
        )
        for seed, given_l in enumerate(litres, start=1)
    ]


def test_a_band_is_median_lowest_and_highest() -> None:
    (one,) = summary(three_seeds("thirstline", "", (300.0, 100.0, 250.0)))
    assert (one.policy, one.runs) == ("thirstline", 3)
    assert one.bands["litres"] == (250.0, 100.0, 300.0)
    assert one.bands["waterings"] == (4.0, 4.0, 4.0)
    assert one.bands["drained_frac"].median == pytest.approx(0.1)


def test_a_run_without_water_has_drained_nothing() -> None:
    assert a_row(litres=0.0, drained_l=0.0).drained_frac == 0.0


def test_seasons_are_told_apart_where_asked() -> None:
    rows = [a_row(), a_row(season="invented-wet", litres=50.0)]
    assert len(summary(rows)) == 1
    assert [(one.season, one.bands["litres"].median) for one in summary(rows, by_season=True)] == [
        ("invented-dry", 200.0),
        ("invented-wet", 50.0),
    ]


def test_settings_are_compared_in_the_same_world() -> None:
    rows = [
        *three_seeds("thirstline", "lean=0.2", (300.0, 100.0, 200.0)),
        *three_seeds("thirstline", "lean=0.8", (290.0, 80.0, 195.0)),
    ]
    (less,) = differences(rows)
    assert less.setting == "lean=0.8"
    assert less.bands["litres"] == (-10.0, -20.0, -5.0)


def test_a_run_without_its_counterpart_is_not_compared() -> None:
    rows = [
        *three_seeds("thirstline", "lean=0.2", (300.0,)),
        *three_seeds("thirstline", "lean=0.8", (290.0, 80.0)),
    ]
    (less,) = differences(rows)
    assert (less.runs, less.bands["litres"].median) == (1, -10.0)


def test_one_setting_is_compared_with_nothing() -> None:
    assert differences(three_seeds("thirstline", "", (300.0, 100.0))) == []
    assert differences([]) == []


def test_the_text_table_has_eighty_columns() -> None:
    rows = [
        a_row(litres=44560.0, waterings=708, dawns_past_floor=0),
        a_row(litres=32299.4, waterings=125, dawns_past_floor=120, relative_yield_frac=1.0),
    ]
    lines = as_text(summary(rows)).splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[1] == "thirstline (2 runs)"
    assert lines[2].split()[:3] == ["median", "38430", "416.5"]
    assert lines[3].split()[:4] == ["range", "32299..44560", "125..708", "0..120"]
    assert lines[3].split()[-1] == "95.0..100.0"


def test_the_markdown_table_has_median_and_range_in_each_cell() -> None:
    rows = three_seeds("daily-clock", "", (300.0, 100.0, 250.0))
    head, line, cells = as_markdown(summary(rows)).splitlines()
    assert head.startswith("| policy | runs | litres |")
    assert line.count("---:") == 6
    assert cells == "| `daily-clock` | 3 | 250 (100 to 300) | 4 | 0 | 2 | 10.0 | 95.0 |"


def test_differences_carry_their_sign() -> None:
    rows = [
        *three_seeds("thirstline", "lean=0.2", (300.0, 100.0)),
        *three_seeds("thirstline", "lean=0.8", (310.0, 99.9)),
    ]
    table = as_markdown(differences(rows), signed=True)
    assert "| +5 (0 to +10) |" in table  # a tenth of a litre is no minus nothing
    assert "| `lean=0.8` |" in table
