"""The card for the weeks away, and the link drawn for a phone's camera."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
import segno
from click.testing import CliRunner, Result

from api import look
from api.card import CALL_TODAY, CAN_WAIT, COLUMNS, LINES_MOST, SHUT_THE_TAP, card_text
from api.cli import main
from api.code_drawing import BLOCKS, QUIET, drawn
from api.roles import HELPER_MAY
from controller.alarming.codes import AlertCode
from controller.explain_numbers import numbers
from controller.garden import load_garden
from sim.examples import find_garden

LINK = "http://thirstline.local:8470/open?code=vcgze2ojHmUY7i6hoblq1A"


def thirstline(*words: str) -> Result:
    return CliRunner().invoke(main, words, env={"THIRSTLINE_CLOCK": ""})


# -- the card


def test_every_alert_asks_one_thing_of_a_helper() -> None:
    told = Counter([*SHUT_THE_TAP, *CALL_TODAY, *CAN_WAIT])
    assert told == Counter(AlertCode)


def test_the_card_is_one_page() -> None:
    text = card_text(load_garden(find_garden("hollin-lane")))
    lines = text.splitlines()
    assert len(lines) <= LINES_MOST
    assert max(map(len, lines)) <= COLUMNS
    assert text.count("_" * 40) == 2  # tap and number are there to be written in


def test_the_card_pours_what_a_bed_needs() -> None:
    garden = load_garden(find_garden("hollin-lane"))
    text = card_text(garden, "cellar", "Ann")
    assert "Shut the stop tap: cellar" in text
    assert "Call: Ann" in text
    found = numbers(garden)
    for bed, timer in zip(found.beds, found.timer, strict=True):
        row = next(line for line in text.splitlines() if line.startswith(f"  {bed.bed.title()} "))
        litres, days = int(row.split()[1]), int(row.split()[-2])
        assert litres * bed.plants / days == pytest.approx(bed.demand_l_d, rel=0.06)
        assert days == timer.every_days[found.month]  # as `check` sets a plain timer


def test_the_card_names_the_page_only_where_a_phone_reaches_it(tmp_path: Path) -> None:
    plot = find_garden("hollin-lane")
    assert "no phone reaches it" in card_text(load_garden(plot))
    path = tmp_path / "open.toml"
    text = plot.read_text(encoding="utf-8").replace("127.0.0.1:8470", "0.0.0.0:8470")
    path.write_text(text, encoding="utf-8")
    assert "http://thirstline.local:8470/ on a phone" in card_text(load_garden(path))


def test_what_the_card_lets_a_helper_do_is_what_a_helper_may() -> None:
    may = {path.rpartition("/")[2] for _, path in HELPER_MAY}
    assert may == {"stop", "pause", "soil", "look", "poured"}  # else the card has to change


def test_the_card_says_that_telling_may_bring_water() -> None:
    text = " ".join(card_text(load_garden(find_garden("hollin-lane"))).split())
    assert "let no water flow" not in text
    assert "may make the garden water that bed by itself, within its limits" in text


def test_the_card_is_written_once(tmp_path: Path) -> None:
    path = tmp_path / "card.txt"
    said = thirstline("card", "hollin-lane", "--out", str(path))
    assert said.exit_code == 0
    assert said.stdout.splitlines()[-1] == "next:  thirstline pair hollin-lane --role helper"
    assert "Hollin Lane plot" in path.read_text(encoding="utf-8")
    again = thirstline("card", "hollin-lane", "--out", str(path))
    assert (again.exit_code, again.stdout) == (1, "")
    assert "stays as it is" in again.stderr


def test_the_card_on_the_screen_and_as_json() -> None:
    said = thirstline("card", "hollin-lane")
    assert (said.exit_code, said.stderr) == (0, "")
    told = json.loads(thirstline("card", "hollin-lane", "--json").stdout)
    assert told == {"card": said.stdout, "file": None}


@pytest.mark.parametrize("text", ["two\nlines", "x" * 121])
def test_what_fits_no_line_is_refused(text: str) -> None:
    said = thirstline("card", "hollin-lane", "--call", text)
    assert (said.exit_code, said.stdout) == (2, "")
    assert "--call: one line of at most 120 letters" in said.stderr


# -- the drawn link


def modules(text: str, *, light: bool) -> list[list[int]]:
    """Back from half blocks to modules, 1 is dark; what is drawn in letters is light on dark."""
    halves = {block: pair for pair, block in BLOCKS.items()}
    rows: list[list[int]] = []
    for line in text.split("\n"):
        rows += [[halves[char][half] for char in line] for half in (0, 1)]
    return rows if light else [[1 - module for module in row] for row in rows]


@pytest.mark.parametrize("light", [False, True])
def test_the_drawing_is_the_symbol_with_its_margin(light: bool) -> None:
    symbol = segno.make(LINK, error="m", micro=False)
    want = [[int(module) for module in row] for row in symbol.matrix_iter(border=QUIET)]
    found = modules(drawn(LINK, light=light), light=light)
    assert found[: len(want)] == want
    assert len(found) - len(want) <= 1  # an odd row is filled up
    assert all(len(line) <= 80 for line in drawn(LINK).split("\n"))


@pytest.fixture
def offered(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What a daemon answers to `pair`."""
    answer = {"link": LINK, "text": "Opened within 10 min, once, this lets one browser in."}
    monkeypatch.setattr(look, "sent", lambda *_, **__: answer)
    view = {"walk": {"beds": {"south": {"armed": True}}}}
    monkeypatch.setattr(look, "garden_now", lambda folder: view)
    return answer


def test_pair_draws_where_it_is_told_to(offered: dict[str, Any], tmp_path: Path) -> None:
    said = thirstline("pair", "--draw", "--data", str(tmp_path))
    assert drawn(LINK) in said.stdout
    assert LINK in said.stdout
    assert said.stdout.splitlines()[-1].startswith("next:  thirstline status")
    light = thirstline("pair", "--draw", "--light", "--data", str(tmp_path))
    assert drawn(LINK, light=True) in light.stdout
    piped = thirstline("pair", "--data", str(tmp_path))
    assert not set("█▀▄") & set(piped.stdout)


def test_a_link_for_this_machine_only_is_not_drawn(offered: dict[str, Any], tmp_path: Path) -> None:
    offered["link"] = "http://127.0.0.1:8470/open?code=x"
    said = thirstline("pair", "--draw", "--data", str(tmp_path))
    assert "listens on this machine only" in said.stdout
    assert not set("█▀▄") & set(said.stdout)
