"""Reading over HTTP: the garden with its entity tag, health, the record, a bed's history."""

import math
import subprocess
import sys
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import given, settings
from hypothesis import strategies as st

from api.desk import FAKE_NOW_UTC_S, FakeDesk
from api.http import create_app
from api.thinning import thinned
from controller.store_reads import LOG_LIMIT

RIGHT = "the-operators-token"


@pytest.fixture
def desk() -> FakeDesk:
    return FakeDesk()


@pytest.fixture
def here(desk: FakeDesk) -> TestClient:
    app = create_app(desk, token=RIGHT, names=["thirstline.local"], monotonic=lambda: 0.0)
    return TestClient(app, base_url="http://localhost", client=("127.0.0.1", 50000))


@pytest.fixture
def away(desk: FakeDesk) -> TestClient:
    app = create_app(desk, token=RIGHT, names=["thirstline.local"], loopback_only=False)
    return TestClient(app, base_url="http://thirstline.local", client=("192.168.1.7", 50000))


def test_garden_has_the_shape_that_status_has(here: TestClient) -> None:
    got = here.get("/api/garden").json()
    assert {"broker", "readings", "waterings", "litres", "beds", "alerts"} <= got.keys()
    bed = got["beds"]["south"]
    assert bed["reason"].keys() == {"code", "text", "numbers"}
    assert bed["next_watering"].keys() == {"from", "to"}


def test_an_unchanged_garden_is_answered_304_without_a_body(here: TestClient) -> None:
    first = here.get("/api/garden")
    again = here.get("/api/garden", headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == first.headers["etag"]


@pytest.mark.parametrize("form", ["W/{}", '"other", {}'], ids=["weak", "in-a-list"])
def test_a_known_tag_is_found_in_every_form(here: TestClient, form: str) -> None:
    tag = here.get("/api/garden").headers["etag"]
    assert here.get("/api/garden", headers={"If-None-Match": form.format(tag)}).status_code == 304


def test_a_changed_garden_has_another_tag(here: TestClient, desk: FakeDesk) -> None:
    first = here.get("/api/garden").headers["etag"]
    desk.set_bed("south", valve="open")
    again = here.get("/api/garden", headers={"If-None-Match": first})
    assert again.status_code == 200
    assert again.json()["beds"]["south"]["valve"] == "open"


def test_a_number_that_is_none_becomes_null_and_no_500(here: TestClient, desk: FakeDesk) -> None:
    desk.set_bed("south", depletion_frac=math.nan, taw_l=math.inf)
    bed = here.get("/api/garden").json()["beds"]["south"]
    assert (bed["depletion_frac"], bed["taw_l"]) == (None, None)
    assert here.get("/").status_code == 200


def test_health_tells_whether_the_engine_steps(here: TestClient, desk: FakeDesk) -> None:
    assert here.get("/api/health").status_code == 200
    desk.well = False
    assert here.get("/api/health").status_code == 503


def test_health_is_open_to_everybody(away: TestClient) -> None:
    assert away.get("/api/health").status_code == 200


@pytest.mark.parametrize("path", ["/api/garden", "/api/log", "/api/beds/south/history", "/"])
def test_looking_is_open_on_loopback_and_needs_a_token_elsewhere(
    here: TestClient, away: TestClient, path: str
) -> None:
    assert here.get(path).status_code == 200
    assert away.get(path).status_code == 401
    assert away.get(path, headers={"Authorization": f"Bearer {RIGHT}"}).status_code == 200


def test_a_call_that_a_proxy_passed_on_is_not_from_loopback(here: TestClient) -> None:
    got = here.get("/api/garden", headers={"X-Forwarded-For": "203.0.113.9"})
    assert got.status_code == 401


def test_the_record_comes_in_pages(here: TestClient, desk: FakeDesk) -> None:
    desk.rows = [{"id": number, "what": "order"} for number in range(1, 8)]
    first = here.get("/api/log?after=0&limit=3").json()
    assert ([row["id"] for row in first["rows"]], first["after"]) == ([1, 2, 3], 3)
    rest = here.get(f"/api/log?after={first['after']}&limit=100").json()
    assert [row["id"] for row in rest["rows"]] == [4, 5, 6, 7]
    assert here.get("/api/log?after=7").json() == {"rows": [], "after": 7, "more": False}


def test_following_the_pages_gives_each_row_once(here: TestClient, desk: FakeDesk) -> None:
    desk.rows = [{"id": number, "what": "order"} for number in range(1, 1201)]
    seen: list[int] = []
    after, more = 0, True
    while more:
        page = here.get(f"/api/log?after={after}&limit={LOG_LIMIT}").json()
        assert len(page["rows"]) <= LOG_LIMIT
        seen += [row["id"] for row in page["rows"]]
        after, more = page["after"], page["more"]
    assert seen == list(range(1, 1201))
    exact = here.get("/api/log?after=1000&limit=200").json()
    assert (len(exact["rows"]), exact["more"]) == (200, False)


@pytest.mark.parametrize("limit", ["0", "501", "1000", "-1", "all"])
def test_a_page_is_never_longer_than_the_record_reads_at_once(here: TestClient, limit: str) -> None:
    got = here.get(f"/api/log?limit={limit}")
    assert got.status_code == 422
    assert "limit" in got.json()["detail"]


@pytest.mark.parametrize("after", ["-1", "1_0", "１２", "nan", "9" * 40, "%00"])
def test_a_malformed_place_in_the_record_is_422(here: TestClient, after: str) -> None:
    got = here.get(f"/api/log?after={after}")
    assert got.status_code == 422
    assert got.headers["content-type"] == "application/problem+json"


def test_history_is_of_one_bed_between_two_instants(here: TestClient) -> None:
    got = here.get(
        "/api/beds/south/history?from=2026-07-10T00:00:00Z&to=2026-07-11T00:00:00Z"
    ).json()
    assert (got["from"], got["to"]) == ("2026-07-10T00:00:00Z", "2026-07-11T00:00:00Z")
    assert got["points"][0].keys() == {
        "at",
        "depletion_frac",
        "line_frac",
        "rain_mm",
        "given_l",
        "clock_synced",
    }


@pytest.mark.parametrize(
    "query",
    [
        "from=2026-07-11T00:00:00Z&to=2026-07-10T00:00:00Z",
        "from=2026-07-10T00:00:00&to=2026-07-11T00:00:00Z",
        "from=1900-01-01T00:00:00Z",
        "from=yesterday",
        "from=2026-99-10T00:00:00Z",
        "step=-60",
    ],
    ids=["turned-round", "no-zone", "too-long", "no-instant", "no-month", "step-below-zero"],
)
def test_a_malformed_span_is_422(here: TestClient, query: str) -> None:
    assert here.get(f"/api/beds/south/history?{query}").status_code == 422


def test_history_of_no_bed_is_404(here: TestClient) -> None:
    assert here.get("/api/beds/nowhere/history").status_code == 404


def row(at_utc_s: float, frac: float | None, line: float | None = 0.4) -> dict[str, Any]:
    return {
        "at_utc_s": at_utc_s,
        "depletion_frac": frac,
        "line_frac": line,
        "rain_mm": 1.0,
        "given_l": 2.0,
    }


def test_a_step_keeps_its_ends_and_its_lowest_and_highest_and_every_sum() -> None:
    fracs = (0.30, 0.31, 0.05, 0.20, 0.41, 0.35, 0.36)
    rows = [row(600.0 * n, frac) for n, frac in enumerate(fracs)] + [row(4200.0, 0.37)]
    drawn = thinned(rows, 4200.0)
    assert [one["depletion_frac"] for one in drawn] == [0.30, 0.05, 0.41, 0.36, 0.37]
    assert [one["rain_mm"] for one in drawn] == [1.0, 2.0, 2.0, 2.0, 1.0]
    assert sum(one["given_l"] for one in drawn) == 16.0


def test_a_gap_is_not_bridged() -> None:
    fracs = (0.1, 0.2, None, None, None, 0.3, 0.4)
    drawn = thinned([row(600.0 * n, frac) for n, frac in enumerate(fracs)], 86_400.0)
    assert [one["depletion_frac"] for one in drawn] == [0.1, 0.2, None, None, 0.3, 0.4]


@settings(derandomize=True, max_examples=200)
@given(
    values=st.lists(
        st.tuples(st.none() | st.floats(0.0, 1.0), st.none() | st.floats(0.2, 0.6)), max_size=60
    ),
    step_s=st.sampled_from([0.0, 600.0, 3600.0, 86_400.0]),
)
def test_thinning_invents_nothing_and_loses_no_peak(
    values: list[tuple[float | None, float | None]], step_s: float
) -> None:
    rows = [row(600.0 * n, frac, line) for n, (frac, line) in enumerate(values)]
    drawn = thinned(rows, step_s)
    by_at = {one["at_utc_s"]: one for one in rows}
    assert [one["at_utc_s"] for one in drawn] == sorted({one["at_utc_s"] for one in drawn})
    for column in ("depletion_frac", "line_frac"):
        assert all(one[column] == by_at[one["at_utc_s"]][column] for one in drawn)
        told = [one[column] for one in rows if one[column] is not None]
        kept = [one[column] for one in drawn if one[column] is not None]
        assert (min(told, default=0), max(told, default=0)) == (
            min(kept, default=0),
            max(kept, default=0),
        )
    for column in ("rain_mm", "given_l"):
        assert sum(one[column] for one in drawn) == pytest.approx(sum(o[column] for o in rows))


def test_a_long_span_comes_thinned_over_http(here: TestClient) -> None:
    span = "from=2026-07-05T00:00:00Z&to=2026-07-15T00:00:00Z"
    whole = here.get(f"/api/beds/south/history?{span}").json()["points"]
    thin = here.get(f"/api/beds/south/history?{span}&step=86400").json()["points"]
    assert len(whole) > 400
    assert 20 <= len(thin) <= 70
    assert sum(one["given_l"] for one in thin) == pytest.approx(
        sum(one["given_l"] for one in whole)
    )


def test_every_answer_carries_the_fixed_headers(here: TestClient) -> None:
    for path in ("/", "/api/garden", "/api/nothing", "/api/health"):
        headers = here.get(path).headers
        assert headers["content-security-policy"].startswith("default-src 'self'")
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"


def test_data_may_be_kept_if_asked_again_and_forms_not_at_all(here: TestClient) -> None:
    assert here.get("/api/garden").headers["cache-control"] == "no-cache"
    for path in ("/beds/south/water", "/beds/south/pause", "/lock", "/walk"):
        assert here.get(path).headers["cache-control"] == "no-store"


def test_the_description_is_shown_on_loopback_only(here: TestClient, away: TestClient) -> None:
    assert "/api/beds/{bed}/water" in here.get("/openapi.json").json()["paths"]
    assert "/api/beds/{bed}/water" in here.get("/docs").text.replace("<wbr>", "")
    for path in ("/docs", "/openapi.json", "/redoc"):
        assert away.get(path, headers={"Authorization": f"Bearer {RIGHT}"}).status_code == 404


def test_the_fake_garden_is_as_old_as_it_says(desk: FakeDesk) -> None:
    rows = desk.history("south", FAKE_NOW_UTC_S - 86_400.0, FAKE_NOW_UTC_S)
    assert rows[-1]["depletion_frac"] == pytest.approx(
        desk.view()["beds"]["south"]["depletion_frac"], abs=0.01
    )


def test_no_version_outlives_its_process() -> None:
    """The engine goes on with its epoch, and versions begin at 1 with each process."""
    code = "from api.problems import etag_of; print(etag_of('5-3'))"
    runs = [subprocess.run([sys.executable, "-c", code], capture_output=True) for _ in range(2)]
    assert [run.returncode for run in runs] == [0, 0]
    assert runs[0].stdout != runs[1].stdout
