"""The measured series of Hesse as virtual probes, against the list that was written before.

The list is `hesse_flags_expected.toml`; its head says what was looked at, and when. Every line of
it is raised within its days. What else is raised is no storm: at most one alert a probe and month,
and at most one reading that was refused once and is only counted. At the doubtful probe (25 cm, six
days ahead of the rain) rises without rain that are too small for the list are the same finding;
what is neither is held to the same number.
"""

from __future__ import annotations

import importlib.util
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from controller.errors import UsageError
from controller.sensing.flags import Flag
from sim.hesse_flags import (
    DELIVERED,
    DEPTHS_CM,
    LIST,
    MOVED,
    Expected,
    Raised,
    compared,
    contents,
    main,
    measured,
    read_list,
    weather,
)

needs_series = pytest.mark.skipif(
    importlib.util.find_spec("spotpy") is None, reason="needs the extra `seasons` (spotpy)"
)
RISES = {Flag.RISE_UNEXPLAINED, Flag.JUMP}


@needs_series
@pytest.mark.slow
def test_every_flag_of_the_list_comes_and_no_storm_of_others() -> None:
    """All 49 lines; others a month by probe: 1 at most, at the doubtful one as said above."""
    result = measured()
    late = [f"{line.day} {line.depth_cm} cm {line.series}" for line, one in result.found if not one]
    assert not late
    assert len(result.found) == 49
    assert result.months == 36
    for series in (MOVED, DELIVERED):
        for depth_cm in DEPTHS_CM:
            alerts = result.others_of(series, depth_cm, alarm=True)
            if (series, depth_cm) == (DELIVERED, 25):
                alerts = tuple(one for one in alerts if one.flag not in RISES)
            assert len(alerts) <= result.months
            assert len(result.others_of(series, depth_cm, alarm=False)) <= result.months


@needs_series
def test_both_files_tell_the_same_hours() -> None:
    hours = weather()
    assert len(hours) == len(contents(MOVED)[40]) == len(contents(DELIVERED)[25]) == 26304
    steps = {late.at_utc_s - early.at_utc_s for early, late in pairwise(hours)}
    assert steps == {3600.0}
    assert contents(DELIVERED)[25][:2] == (0.318, 0.317)  # as its first lines say


def test_the_doubtful_probe_is_on_the_list() -> None:
    lines = read_list()
    doubtful = [line for line in lines if line.series == DELIVERED and line.depth_cm == 25]
    assert len(doubtful) >= 28
    assert sum(set(line.flags) == RISES for line in doubtful) == 28
    assert all(line.within_days <= 2 and line.seen for line in lines)


def test_what_was_changed_after_a_run_says_what_it_was_and_why() -> None:
    changed = [line for line in read_list() if line.was]
    assert [(line.day, line.was) for line in changed] == [
        (date(2014, 7, 19), ("drop",)),
        (date(2016, 3, 23), ("drop",)),
    ]
    assert all(line.why for line in changed)


LINE = Expected(
    series=MOVED, depth_cm=25, day=date(2014, 6, 11), within_days=1, flags=(Flag.DROP,), seen="x"
)


def raised(day: int, depth_cm: int = 25, flag: Flag = Flag.DROP, *, began: bool = True) -> Raised:
    at = datetime(2014, 6, day, 7, tzinfo=UTC)
    return Raised(series=MOVED, depth_cm=depth_cm, at=at, flag=flag, began=began)


@pytest.mark.parametrize(
    ("one", "met"),
    [
        pytest.param(raised(11), True, id="on-the-day"),
        pytest.param(raised(10), True, id="a-day-early"),
        pytest.param(raised(12), True, id="a-day-late"),
        pytest.param(raised(13), False, id="two-days-late"),
        pytest.param(raised(11, 40), False, id="another-depth"),
        pytest.param(raised(11, flag=Flag.JUMP), False, id="another-flag"),
    ],
)
def test_a_line_is_met_by_its_own_flag_within_its_days(one: Raised, met: bool) -> None:
    result = compared([LINE], [one], 36)
    assert (result.found[0][1] is one) is met
    assert (result.others == (one,)) is not met


def test_a_flag_that_is_raised_while_it_stands_meets_a_line_and_is_no_other() -> None:
    assert compared([LINE], [raised(11, began=False)], 36).found[0][1] is not None
    assert compared([LINE], [raised(20, began=False)], 36).others == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param("", "expected", id="empty"),
        pytest.param("[[expected]]\nseries = 'x'\ndepth_cm = 25", "no series", id="no-such-series"),
        pytest.param("[[expected]]\nseries = 'moved'\ndepth_cm = 10", "no series", id="depth"),
        pytest.param(
            "[[expected]]\nseries = 'moved'\ndepth_cm = 25\nflags = ['x']", "'x'", id="no-such-flag"
        ),
        pytest.param(
            "[[expected]]\nseries = 'moved'\ndepth_cm = 25\nflags = []", "missing", id="no-day"
        ),
    ],
)
def test_another_list_is_refused(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "list.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError, match=said):
        read_list(file)
    with pytest.raises(UsageError, match="checkout"):
        read_list(tmp_path / "none.toml")


def test_the_command_says_what_it_does(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["--help"])
    assert left.value.code == 0
    assert "against a list" in capsys.readouterr().out
    assert LIST.is_file()
    assert DEPTHS_CM == (25, 40)
