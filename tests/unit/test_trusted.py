import pytest

from controller.trusted import ClockStamp, trusted_gap_s

JULY_2026_S = 1_783_000_000.0
NAN = float("nan")


def stamp(
    *, boot: str = "a", mono_s: float = 1_000.0, utc_s: float, synced: bool = True
) -> ClockStamp:
    return ClockStamp(boot_id=boot, mono_s=mono_s, utc_s=utc_s, synced=synced, trusted_s=0.0)


LAST = stamp(utc_s=JULY_2026_S)
LAST_UNSYNCED = stamp(utc_s=JULY_2026_S, synced=False)
LAST_1970 = stamp(utc_s=0.0)


@pytest.mark.hazard("T1", "T2")
@pytest.mark.parametrize(
    ("last", "now", "scaled", "gap_s"),
    [
        pytest.param(
            LAST, stamp(mono_s=1_600.0, utc_s=JULY_2026_S + 600.0), False, 600.0, id="same-boot"
        ),
        pytest.param(
            LAST,
            stamp(mono_s=1_600.0, utc_s=JULY_2026_S + 90_000.0),
            False,
            600.0,
            id="same-boot-wall-clock-leaps",
        ),
        pytest.param(
            LAST_UNSYNCED,
            stamp(mono_s=1_600.0, utc_s=0.0, synced=False),
            False,
            600.0,
            id="same-boot-unsynced-1970",
        ),
        pytest.param(
            LAST,
            stamp(mono_s=900.0, utc_s=JULY_2026_S + 600.0),
            False,
            0.0,
            id="same-boot-mono-back",
        ),
        pytest.param(
            LAST,
            stamp(boot="b", mono_s=5.0, utc_s=JULY_2026_S + 7_200.0),
            False,
            7_200.0,
            id="other-boot-both-synced",
        ),
        pytest.param(
            LAST,
            stamp(boot="b", mono_s=5.0, utc_s=JULY_2026_S + 7_200.0, synced=False),
            False,
            0.0,
            id="other-boot-now-unsynced",
        ),
        pytest.param(
            LAST_UNSYNCED,
            stamp(boot="b", mono_s=5.0, utc_s=JULY_2026_S + 7_200.0),
            False,
            0.0,
            id="other-boot-last-unsynced",
        ),
        pytest.param(
            LAST,
            stamp(boot="b", mono_s=5.0, utc_s=JULY_2026_S - 259_200.0),
            False,
            0.0,
            id="other-boot-three-days-back",
        ),
        pytest.param(LAST, stamp(boot="b", mono_s=5.0, utc_s=0.0), False, 0.0, id="now-1970"),
        pytest.param(
            LAST_1970, stamp(boot="b", mono_s=5.0, utc_s=JULY_2026_S), False, 0.0, id="last-1970"
        ),
        pytest.param(
            LAST,
            stamp(boot="b", mono_s=5.0, utc_s=JULY_2026_S + 366 * 86_400.0),
            False,
            31_622_400.0,
            id="a-year-off",
        ),
        pytest.param(
            LAST,
            stamp(boot="b", mono_s=5.0, utc_s=JULY_2026_S + 366 * 86_400.0 + 1.0),
            False,
            0.0,
            id="more-than-a-year-off",
        ),
        pytest.param(LAST, stamp(boot="b", mono_s=5.0, utc_s=NAN), False, 0.0, id="utc-nan"),
        pytest.param(LAST, stamp(mono_s=NAN, utc_s=JULY_2026_S), False, 0.0, id="mono-nan"),
        pytest.param(
            LAST, stamp(mono_s=float("inf"), utc_s=JULY_2026_S), False, 0.0, id="mono-inf"
        ),
        pytest.param(
            LAST_UNSYNCED,
            stamp(boot="b", mono_s=5.0, utc_s=JULY_2026_S + 90_000.0, synced=False),
            True,
            90_000.0,
            id="scaled-forward-counts-whole",
        ),
        pytest.param(
            LAST,
            stamp(mono_s=1_600.0, utc_s=JULY_2026_S + 9_000.0),
            True,
            9_000.0,
            id="scaled-same-boot",
        ),
        pytest.param(
            LAST, stamp(mono_s=1_600.0, utc_s=JULY_2026_S - 1.0), True, 0.0, id="scaled-backward"
        ),
    ],
)
def test_only_time_that_surely_passed_is_trusted(
    last: ClockStamp, now: ClockStamp, scaled: bool, gap_s: float
) -> None:
    assert trusted_gap_s(last, now, scaled) == gap_s
