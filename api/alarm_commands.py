"""`thirstline alarm …`: whether alarms get out of the house, tried from the shell."""

from __future__ import annotations

from pathlib import Path

import click

from api import look
from api.folders import folder_meant
from api.next_step import beside
from api.options import data_option, json_flag, print_json, say, say_next

TEST_S = 120.0  # [s] real; a hanging mail server takes its time
WORDS = {"delivered": "delivered", "failed": "FAILED", "not_set": "not set"}


@click.group()
def alarm() -> None:
    """See whether alarms get out of the house.

    Example:  thirstline alarm test
    """


@alarm.command("test")
@click.argument("garden", required=False)
@data_option
@json_flag
def alarm_test(garden: str | None, data: Path | None, as_json: bool) -> None:
    """Send a test by every way that is set.

    Says of each way what became of it. Status 1 where one fails, or none is set.

    Example:  thirstline alarm test --data /var/lib/thirstline
    """
    told = look.sent(folder_meant(garden, data), "alarm/test", {}, timeout_s=TEST_S)
    if as_json:
        print_json(told)
    else:
        for report in told["ways"]:
            say(f"{report['way']:<8} {WORDS[report['outcome']]:<10} {report['text']}")
        say(told["text"])
        say_next("status", garden, *beside(data))
    outcomes = {r["way"]: r["outcome"] for r in told["ways"]}
    out = [outcomes.get(way) for way in ("mail", "command")]
    if "failed" in outcomes.values() or "delivered" not in out:
        raise SystemExit(1)
