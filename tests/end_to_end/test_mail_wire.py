"""A leak gets out of the house: node, broker, daemon, and a mail server that takes the letter."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from email import message_from_string
from email.message import EmailMessage
from email.policy import default
from pathlib import Path

import pytest

from tests.end_to_end.conftest import Mosquitto
from tests.end_to_end.live_garden import LiveGarden, tell, until
from tests.mail_server import MailServer

pytestmark = pytest.mark.broker

SPEED = 20.0
BEDS = ["south", "wall", "low", "hedge"]
PATIENCE_S = 90.0  # [s] real
IN_TIME_S = 900.0  # [s] garden time: a quarter of an hour, where a hazard names no other
LEAKS_S = 480.0  # [s] garden time
LEAK = """\
[[fault]]
at = "4m"
which = "supply"
what = "leak"
value = 2.0
for = "8m"
"""
MAIL = """
[alarm]
mail = {{ host = "127.0.0.1", port = {port}, tls = "none", to = ["grower@example.org"] }}
quiet = "20:00-19:00"
"""


@pytest.fixture
def server(tmp_path: Path) -> Iterator[MailServer]:
    one = MailServer(tmp_path)
    yield one
    one.close()


@pytest.fixture
def garden(mosquitto: Mosquitto, server: MailServer, tmp_path: Path) -> Iterator[LiveGarden]:
    """A garden that leaks four minutes after its nodes began, deep in the quiet night."""
    live = LiveGarden(tmp_path / "plot", mosquitto.url, speed=SPEED)
    with live.garden_file.open("a", encoding="utf-8") as file:
        file.write(MAIL.format(port=server.port))
    faults = tmp_path / "faults.toml"
    faults.write_text(LEAK, encoding="utf-8")
    live.start_bench(*(f"--depletion={bed}=0.2" for bed in BEDS), f"--faults={faults}")
    live.start_daemon()
    yield live
    live.close()


def letters(server: MailServer) -> list[EmailMessage]:
    """The letters that speak of the leak."""
    read = [message_from_string(text, policy=default) for _, _, text in server.letters]
    return [one for one in read if "with every valve closed" in str(one["Subject"])]


@pytest.mark.hazard("M2")
def test_a_leak_reaches_a_mail_server_in_the_quiet_night(
    garden: LiveGarden, server: MailServer
) -> None:
    until(lambda: "leak" in garden.alerts(), PATIENCE_S, "the leak's alert")
    stands = next(one for one in garden.get()["alerts"] if one["code"] == "leak")
    since_utc_s = datetime.fromisoformat(stands["since"]).timestamp()
    until(lambda: letters(server), PATIENCE_S, "the leak's letter")
    took_s = garden.clock.now_utc_s() - since_utc_s
    tell(f"a letter at most {took_s:.0f} s of garden time after the alert began")
    assert took_s <= IN_TIME_S
    (letter,) = letters(server)
    assert server.letters[0][:2] == ("grower@example.org", ["grower@example.org"])
    assert "Shut the tap" in letter.get_content(), "what to do"
    assert garden.water("south", 5.0)[0] == 409, "locked until a person has looked"
    mended_utc_s = since_utc_s + LEAKS_S  # it leaked before the alert
    until(lambda: garden.clock.now_utc_s() > mended_utc_s + 60.0, PATIENCE_S, "a mended pipe")
    assert len(letters(server)) == 1, "it is said once"
    status, said = garden.post(f"/api/alerts/{stands['id']}/clear", {"why": "new joint"})
    assert status == 200, said
    until(lambda: "leak" not in garden.alerts(), PATIENCE_S, "its end")
    until(lambda: garden.water("south", 5.0)[0] == 202, PATIENCE_S, "an order that is taken")
    until(lambda: garden.truth().litres("south") > 1.0, PATIENCE_S, "water")
    assert garden.end_daemon() == 0
