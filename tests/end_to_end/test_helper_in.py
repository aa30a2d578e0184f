"""A helper let in from the shell, over a restart: `pair --role helper`, the link, the rights."""

from __future__ import annotations

import http.cookiejar
import json
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import LiveGarden

pytestmark = pytest.mark.broker


@pytest.fixture
def garden(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[LiveGarden]:
    """Nodes that run, a daemon that does not yet."""
    live = LiveGarden(tmp_path / "plot", mosquitto.url)
    live.start_bench()
    yield live
    live.close()


class Phone:
    """A browser with its cookies."""

    def __init__(self) -> None:
        jar = http.cookiejar.CookieJar(http.cookiejar.DefaultCookiePolicy(strict_ns_domain=0))
        self._open = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar)).open

    def ask(self, url: str, method: str = "GET", body: object = None) -> tuple[int, str]:
        data = None if body is None else json.dumps(body).encode()
        headers = {"Content-Type": "application/json", "Origin": url.split("/api")[0]}
        request = urllib.request.Request(url, data, headers, method=method)  # noqa: S310
        try:
            with self._open(request, timeout=10.0) as reply:
                return reply.status, reply.read().decode()
        except urllib.error.HTTPError as exc:
            with exc:
                return exc.code, exc.read().decode()


def test_a_helper_is_let_in_from_the_shell_and_stays_in(garden: LiveGarden) -> None:
    garden.start_daemon()
    place = ("--data", str(garden.data))
    made = garden.command("pair", "--role", "helper", "--name", "Ann", *place)
    assert made.returncode == 0, made.stderr
    link = made.stdout.splitlines()[0]
    phone = Phone()
    status, page = phone.ask(link)
    assert status == 200
    assert "stop" in page
    assert phone.ask(link)[0] == 401, "a code works once"
    listed = garden.command("pair", "--list", *place).stdout
    assert "helper" in listed
    assert "Ann" in listed
    for _ in range(2):
        base = garden.base_url or ""
        soil = {"feel": "just_moist", "depth_cm": 20}
        assert phone.ask(f"{base}/api/beds/south/soil", "POST", soil)[0] == 200
        status, said = phone.ask(f"{base}/api/beds/south/water", "POST", {"litres": 20})
        assert (status, json.loads(said)["title"]) == (403, "Not for a helper")
        assert phone.ask(f"{base}/api/pairs")[0] == 403
        assert phone.ask(f"{base}/api/stop", "POST", {})[0] == 200
        assert garden.end_daemon() == 0
        garden.start_daemon()
    rows = garden.get("/api/log?after=0&limit=500")["rows"]
    felt = [row["text"] for row in rows if row["code"] == "soil"]
    assert len(felt) == 2
    assert all("helper" in text and "(Ann)" in text for text in felt)
    who = listed.split()[0]
    assert garden.command("pair", "--revoke", who, *place).returncode == 0
    base = garden.base_url or ""
    assert phone.ask(f"{base}/api/beds/south/soil", "POST", soil)[0] in {401, 403}
    said = garden.command("verify", *place).stdout
    assert " PDT: every decision is the same again" in said, said
