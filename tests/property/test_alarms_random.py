"""Alarms under random days: alerts come and go, ways fail, the process is killed at any point.

What stands for an hour while a way works has been told by it; what is told twice has the same id;
no alert is told like a storm.
"""

from __future__ import annotations

import random
from collections import Counter
from functools import cache
from typing import Any

import pytest

from controller.alarming.alarmer import Alarmer
from controller.alarming.codes import AlertCode
from controller.alarming.letters import Message
from controller.alarming.ways import DELIVERED, Delivery
from controller.effects import Alert, Alerts
from controller.events import AlarmWay, Event
from controller.garden import Garden
from tests.engine_garden import START_UTC_S, small_garden

STEP_S = 60.0
STEPS = 400
HOUR_STEPS = 60
SOUND = ("mail", "command")
CODES = [code for code in AlertCode if code not in {AlertCode.PAUSED, AlertCode.ALARM_FAILED}]


class KilledError(Exception):
    """The process ends here."""


class Life:
    """A folder in memory, a clock, and a daemon that only keeps the alerts of the ways."""

    def __init__(self, seed: int) -> None:
        self.lot = random.Random(seed)
        self.text = ""
        self.now_s = START_UTC_S + 9 * 3600.0
        told = small_garden().model_dump(mode="json")
        mail = {"host": "mail.example", "to": ["me@a.example"]}
        alarm = {"mail": mail, "command": ["/usr/bin/tell"], "quiet": "never", "weekly": "never"}
        self.setting = Garden.model_validate({**told, "alarm": alarm})
        self.standing: dict[str, Alert] = {}
        self.fails: set[str] = set()
        self.kills = 0
        self.got: dict[str, list[Message]] = {name: [] for name in SOUND}
        self.begin()

    def begin(self) -> None:
        self.alarmer = Alarmer(
            self,  # type: ignore[arg-type]
            self,
            self,
            make_ways=lambda _: [Way(name, self) for name in SOUND],
        )

    def read_alarms(self) -> str:
        return self.text

    def write_alarms(self, text: str) -> None:
        if self.lot.random() < 0.03:
            raise KilledError  # before it is on disk
        self.text = text

    def utc_s(self) -> float:
        return self.now_s

    def mono_s(self) -> float:
        return self.now_s

    def view(self) -> dict[str, Any]:
        return {"beds": {}, "link_up": True}

    def deliver(self, event: Event) -> None:
        assert isinstance(event, AlarmWay)
        key = f"alarm_failed-{event.way}"
        if event.works:
            self.standing.pop(key, None)
        else:
            self.standing[key] = Alert(
                id=key, code="alarm_failed", since_utc_s=self.now_s, text=f"<{key}>"
            )

    def step(self) -> None:
        self.now_s += STEP_S
        self.alarmer.hear(self.now_s, Alerts(standing=tuple(self.standing.values())))
        try:
            self.alarmer.look()
            for courier in list(self.alarmer._couriers.values()):
                courier.try_waiting()
        except KilledError:
            self.kills += 1
            self.begin()


class Way:
    """One way of a life."""

    def __init__(self, name: str, life: Life) -> None:
        self.name = name
        self.life = life

    def send(self, message: Message) -> Delivery:
        if self.name in self.life.fails:
            return Delivery(out=False, cause="no answer within 15 s")
        self.life.got[self.name].append(message)
        return DELIVERED


@cache
def lived(seed: int) -> Life:
    """Hours of chance, then seven in which all works and nothing changes."""
    life = Life(seed)
    for step in range(STEPS):
        if life.lot.random() < 0.05:
            code = life.lot.choice(CODES)
            key = f"{code}-{life.lot.randrange(2)}"
            life.standing.pop(key, None) or life.standing.setdefault(
                key, Alert(id=key, code=code, since_utc_s=life.now_s, text=f"<{key}>")
            )
        if step % 50 == 0:
            life.fails = {name for name in SOUND if life.lot.random() < 0.3}
        life.step()
    life.fails = set()
    for _ in range(7 * HOUR_STEPS):  # a crowded one waits six hours
        life.step()
    return life


@pytest.mark.parametrize("seed", range(12))
def test_the_last_word_by_every_way_is_what_stands_whatever_fails_or_is_killed(
    seed: int,
) -> None:
    life = lived(seed)
    for name in SOUND:
        last = {one.alert.id: one.what for m in life.got[name] for one in m.told}
        told = {key for key, what in last.items() if what != "over"}
        assert told == life.standing.keys()


@pytest.mark.parametrize("seed", range(12))
def test_nothing_is_told_like_a_storm(seed: int) -> None:
    life = lived(seed)
    for name in SOUND:
        ids = Counter(message.id for message in life.got[name])
        assert sum(many - 1 for many in ids.values()) <= life.kills
        told = Counter(
            one.alert.id
            for message in {m.id: m for m in life.got[name]}.values()
            for one in message.told
            if one.what == "new" and one.alert.code not in {"burst", "leak"}
        )
        # three a day and one each six hours; a kill before the disk has it may tell once more
        assert all(many <= 5 + life.kills for many in told.values())


def test_these_days_hold_what_they_are_meant_to_hold() -> None:
    lives = [lived(seed) for seed in range(12)]
    assert sum(life.kills for life in lives) > 10
    whole = "\n".join(m.text for life in lives for m in life.got["command"])
    assert "<alarm_failed-mail>" in whole
    assert "Over, since" in whole
    assert any("could not be told before" in m.text for life in lives for m in life.got["mail"])
