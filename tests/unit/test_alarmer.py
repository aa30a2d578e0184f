"""The alarms' edge under a driven clock: over restarts, tried again, told by the other way."""

from __future__ import annotations

import json
import threading
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from controller.alarming.alarmer import Alarmer
from controller.alarming.courier import PAUSES_S
from controller.alarming.letters import Message
from controller.alarming.outbox import WAITING_MOST
from controller.alarming.reports import ItsUseError
from controller.alarming.ways import DELIVERED, Delivery
from controller.datafolder import DataFolder
from controller.effects import Alert, Alerts, Outcome, Reserve, SaveEpoch, Settle
from controller.engine import Engine
from controller.errors import StoreError
from controller.events import EVENT_JSON, AlarmWay, Event, Started, Tick
from controller.garden import Garden
from controller.store import Store
from controller.trusted import ClockStamp
from controller.view import picture
from tests.engine_garden import START_UTC_S, small_garden

NOON_S = START_UTC_S + 13 * 3600.0  # in Los Angeles
DAY_S = 86_400.0
LATER = Delivery(out=False, cause="no answer within 15 s")
NEVER = Delivery(out=False, cause="the server refuses user or password", lasting=True)
BURST = Alert(
    id="burst", code="burst", since_utc_s=NOON_S, text="A pipe may have burst.", person_needed=True
)
SILENT = Alert(id="probe_silent-south-a", code="probe_silent", since_utc_s=NOON_S, text="Silent.")
PICTURE: dict[str, Any] = {"beds": {}, "link_up": True}


def reserved(dose: str, watering: str, from_utc_s: float) -> Reserve:
    return Reserve(
        dose=dose,
        watering=watering,
        bed="south",
        valve="south",
        by="policy",
        from_utc_s=from_utc_s,
        open_s=600.0,
        reserved_l=50.0,
        want_l=45.0,
        epoch=1,
        seq_high=9,
        trusted_s=1.0,
    )


def settled(dose: str, litres: float) -> Settle:
    return Settle(
        dose=dose,
        outcome=Outcome.CONFIRMED,
        open_s=600.0,
        charged_l=litres + 5.0,
        credited_l=litres,
        ended_trusted_s=2.0,
    )


class FakeWay:
    """Takes or refuses as told."""

    def __init__(self, name: str, sent: list[tuple[str, Message]]) -> None:
        self.name = name
        self.sent = sent
        self.answer: Delivery | Exception = DELIVERED

    def send(self, message: Message) -> Delivery:
        if isinstance(self.answer, Exception):
            raise self.answer
        if self.answer.out:
            self.sent.append((self.name, message))
        return self.answer


def begun_engine() -> Engine:
    """At noon, just started."""
    engine = Engine(small_garden())
    engine.step(Started(at_utc_s=NOON_S, mono_s=1000.0, trusted_s=0.0, stored_epoch=0))
    return engine


class House:
    """Daemon, clock and ways of an invented garden; the engine is the real one."""

    def __init__(self, folder: Path, ways: tuple[str, ...] = ("mail", "command")) -> None:
        self.folder = DataFolder(folder)
        self.setting = self.garden_with(ways)
        self.now_s = NOON_S
        self.sent: list[tuple[str, Message]] = []
        self.ways: dict[str, FakeWay] = {
            name: FakeWay(name, self.sent) for name in ("mail", "command")
        }
        self.engine = begun_engine()
        self.alarmer = self.begun()

    @staticmethod
    def garden_with(ways: tuple[str, ...], **fields: str) -> Garden:
        alarm: dict[str, Any] = {**fields}
        if "mail" in ways:
            alarm["mail"] = {"host": "mail.example", "to": ["me@a.example"]}
        if "command" in ways:
            alarm["command"] = ["/usr/bin/tell"]
        told = small_garden().model_dump(mode="json")
        return Garden.model_validate({**told, "alarm": alarm})

    def begun(self) -> Alarmer:
        return Alarmer(self.folder, self, self, make_ways=self.make_ways)

    def make_ways(self, garden: Garden) -> list[FakeWay]:
        alarm = garden.alarm
        set_ = {"mail": alarm.mail is not None, "command": alarm.command is not None}
        return [way for name, way in self.ways.items() if set_[name]]

    def utc_s(self) -> float:
        return self.now_s

    def mono_s(self) -> float:
        return self.now_s - NOON_S + 1000.0

    def view(self) -> dict[str, Any]:
        return PICTURE

    def deliver(self, event: Event) -> None:
        for effect in self.engine.step(event):
            self.alarmer.hear(self.now_s, effect)

    def stand(self, *alerts: Alert) -> None:
        """These stand, and what the engine itself raised of the ways."""
        own = {key: a for key, a in self.engine.state.alerts.items() if a.code == "alarm_failed"}
        self.engine.state.alerts = {alert.id: alert for alert in alerts} | own
        self.alarmer.hear(self.now_s, Alerts(standing=tuple(self.engine.state.alerts.values())))

    def pass_by(self, seconds: float, step_s: float = 10.0) -> None:
        end_s = self.now_s + seconds
        while self.now_s < end_s:
            self.now_s += step_s
            self.step()

    def step(self) -> None:
        self.alarmer.look()
        for courier in list(self.alarmer._couriers.values()):
            courier.try_waiting()

    def told(self, way: str) -> list[str]:
        return [message.subject for name, message in self.sent if name == way]


@pytest.fixture
def house(tmp_path: Path) -> House:
    return House(tmp_path)


def test_an_alert_goes_out_by_every_way(house: House) -> None:
    house.stand(BURST)
    house.step()
    assert [name for name, _ in house.sent] == ["mail", "command"]
    assert house.told("mail") == ["plot: a pipe may have burst"]


def test_without_a_way_nothing_is_told_until_one_is_set(house: House) -> None:
    house.setting = house.garden_with(())
    house.stand(BURST)
    house.pass_by(600.0)
    assert house.sent == []
    house.setting = house.garden_with(("mail",))
    house.step()
    assert house.told("mail") == ["plot: a pipe may have burst"]


def test_nothing_is_told_twice_after_a_restart_and_nothing_is_lost(house: House) -> None:
    house.ways["command"].answer = LATER
    house.stand(BURST)
    house.step()
    house.alarmer = house.begun()  # killed: only the disk goes on
    house.ways["command"].answer = DELIVERED
    house.stand(BURST)
    house.pass_by(120.0)
    assert house.told("mail") == house.told("command") == ["plot: a pipe may have burst"]


def test_what_is_killed_while_sending_goes_out_again_with_the_same_id(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.stand(BURST)
    monkeypatch.setattr(house.alarmer, "_done", lambda *_, **__: None)  # never crossed out
    house.step()
    house.alarmer = house.begun()
    house.stand(BURST)
    house.step()
    ids = [message.id for name, message in house.sent if name == "mail"]
    assert len(ids) == 2
    assert ids[0] == ids[1]


def test_what_is_killed_before_it_is_decided_is_told_at_the_next_start(house: House) -> None:
    house.stand(SILENT)
    house.alarmer.look()  # it waits for company
    house.alarmer = house.begun()
    house.stand(SILENT)
    house.pass_by(70.0)
    assert house.told("mail") == ["plot: a probe is silent"]


def test_a_way_that_fails_twice_is_told_by_the_other_and_its_end_too(house: House) -> None:
    house.ways["mail"].answer = LATER
    house.stand(BURST)
    house.step()
    assert "alarm_failed-mail" not in house.engine.state.alerts, "once may be chance"
    house.pass_by(PAUSES_S[0] + 10.0)
    alert = house.engine.state.alerts["alarm_failed-mail"]
    assert alert.text == "Alarms by mail do not get out: no answer within 15 s."
    house.pass_by(70.0)
    assert house.told("command") == [
        "plot: a pipe may have burst",
        "plot: alarms do not get out",
    ]
    house.ways["mail"].answer = DELIVERED
    house.pass_by(PAUSES_S[1] + PAUSES_S[2] + 20.0)
    assert "alarm_failed-mail" not in house.engine.state.alerts
    assert house.told("mail") == ["plot: a pipe may have burst"], "never told of itself"
    house.pass_by(700.0)
    assert house.told("command")[-1] == "plot: over: alarms do not get out"


def test_a_cause_that_waiting_does_not_mend_is_told_at_once(house: House) -> None:
    house.ways["command"].answer = NEVER
    house.stand(BURST)
    house.step()
    house.step()
    assert "alarm_failed-command" in house.engine.state.alerts


def test_a_letter_of_which_one_address_was_refused_is_an_alarm_and_not_sent_again(
    house: House,
) -> None:
    cause = "the server refuses 1 of 2 addresses"
    house.ways["mail"].answer = Delivery(out=True, cause=cause, lasting=True)
    house.stand(BURST)
    house.pass_by(3600.0)
    assert len(house.told("mail")) == 1
    assert cause in house.engine.state.alerts["alarm_failed-mail"].text


def test_pauses_between_tries_grow(house: House) -> None:
    tries: list[float] = []
    house.ways["mail"].answer = LATER
    send = house.ways["mail"].send

    def counted(message: Message) -> Delivery:
        tries.append(house.now_s)
        return send(message)

    house.ways["mail"].send = counted  # type: ignore[method-assign]
    house.stand(BURST)
    house.pass_by(4 * 3600.0)
    gaps = [later - earlier for earlier, later in pairwise(tries)]
    assert gaps[:4] == list(PAUSES_S)
    assert set(gaps[4:]) == {PAUSES_S[-1]}


def test_what_waits_goes_out_as_one_message(house: House) -> None:
    house.ways["mail"].answer = LATER
    house.stand(BURST)
    house.step()
    house.stand(BURST, SILENT)
    house.pass_by(3600.0)
    house.ways["mail"].answer = DELIVERED
    house.pass_by(PAUSES_S[-1] + 10.0)
    assert len(house.told("mail")) == 1
    text = next(message.text for name, message in house.sent if name == "mail")
    assert BURST.text in text
    assert SILENT.text in text


def test_so_many_messages_wait_and_no_more(house: House) -> None:
    house.ways["mail"].answer = LATER
    for n in range(25):
        house.stand(Alert(id=f"burst-{n}", code="burst", since_utc_s=NOON_S, text=f"Burst {n}."))
        house.step()
    kept = json.loads(house.folder.read_alarms())
    assert len(kept["lines"]["mail"]["waiting"]) == WAITING_MOST
    assert kept["lines"]["mail"]["dropped"] == 25 - WAITING_MOST
    assert "Burst 24." in kept["lines"]["mail"]["waiting"][-1]["text"]
    house.ways["mail"].answer = DELIVERED
    house.pass_by(PAUSES_S[0])
    text = next(message.text for name, message in house.sent if name == "mail")
    assert f"{25 - WAITING_MOST} messages before this one were lost" in text


def test_a_way_taken_out_of_the_file_is_no_alarm_any_more(house: House) -> None:
    house.ways["mail"].answer = NEVER
    house.stand(BURST)
    house.step()
    house.step()
    assert "alarm_failed-mail" in house.engine.state.alerts
    house.setting = house.garden_with(("command",))
    house.step()
    assert "alarm_failed-mail" not in house.engine.state.alerts


def test_a_fault_of_a_way_is_caught_and_says_nothing_of_what_was_sent(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    house.ways["mail"].answer = RuntimeError("the-secret")
    house.stand(BURST)
    house.step()
    assert house.told("command") == ["plot: a pipe may have burst"]
    assert "the-secret" not in caplog.text
    assert "RuntimeError" in caplog.text


def test_a_disk_that_cannot_keep_silences_nobody(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: str) -> None:
        msg = "disk full"
        raise StoreError(msg)

    monkeypatch.setattr(house.folder, "write_alarms", full)
    house.stand(BURST)
    house.pass_by(60.0)
    assert house.told("mail") == ["plot: a pipe may have burst"]


@pytest.mark.parametrize("text", ["", "{", '{"book": 3}', "[]", "\x00"])
def test_what_was_kept_and_cannot_be_read_is_told_anew(house: House, text: str) -> None:
    house.stand(BURST)
    house.step()
    (house.folder.path / "alarms.json").write_text(text)
    house.alarmer = house.begun()
    house.stand(BURST)
    house.step()
    assert len(house.told("mail")) == 2


def test_the_disk_is_left_alone_while_nothing_changes(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.stand(BURST)
    house.pass_by(60.0)
    writes: list[str] = []
    monkeypatch.setattr(house.folder, "write_alarms", writes.append)
    house.pass_by(3600.0)
    assert writes == []


# -- the week


def test_the_week_is_told_each_sunday_evening_and_once(house: House) -> None:
    house.stand()
    house.pass_by(15 * DAY_S, 600.0)
    told = [message for name, message in house.sent if name == "mail"]
    assert [message.kind for message in told] == ["weekly"] * 2
    assert told[0].subject == "plot: all is well"
    assert "the record cannot be read" in told[0].text, "this house has none"


def test_a_week_that_was_slept_through_is_told_at_the_next_start(house: House) -> None:
    house.stand()
    house.step()
    house.now_s += 6 * DAY_S
    house.alarmer = house.begun()
    house.stand()
    house.pass_by(60.0)
    assert [message.kind for _, message in house.sent] == ["weekly", "weekly"]  # both ways


def test_the_week_is_written_from_the_daemons_own_picture_and_record(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store.open(house.folder)
    stamp = ClockStamp(boot_id="a", mono_s=1.0, utc_s=NOON_S, synced=True, trusted_s=1.0)
    began_s = NOON_S + 3 * DAY_S
    for effect in (
        SaveEpoch(epoch=1),
        reserved("w1-1", "w1", began_s),
        settled("w1-1", 40.0),
        reserved("w1-2", "w1", began_s + 600.0),
        settled("w1-2", 20.5),
        reserved("old", "w0", began_s - 30 * DAY_S),
        settled("old", 99.0),
    ):
        tick = Tick(at_utc_s=began_s, mono_s=1.0)
        store.commit(tick, [effect], durable=True, stamp=stamp)
    store.close()
    monkeypatch.setattr(house, "view", lambda: picture(house.engine.run))
    house.stand()
    house.pass_by(5 * DAY_S, 600.0)
    text = next(message.text for name, message in house.sent if name == "mail")
    assert "Water of the week: 60 L in 1 watering. South 60 L in 1." in text
    assert "South: " in text
    assert "Probes: " in text


def test_no_week_where_the_file_wants_none(house: House) -> None:
    house.setting = house.garden_with(("mail",), weekly="never")
    house.stand()
    house.pass_by(15 * DAY_S, 600.0)
    assert house.sent == []


# -- the test button


def test_a_test_says_of_each_way_what_became_of_it(house: House) -> None:
    house.setting = house.garden_with(("mail",))
    reports = {report.way: (report.outcome, report.text) for report in house.alarmer.test()}
    assert reports["mail"] == ("delivered", "The mail server took it.")
    assert reports["command"] == ("not_set", "[alarm] command is not set.")
    assert reports["page"][0] == reports["mqtt"][0] == "delivered"
    house.ways["mail"].answer = NEVER
    with pytest.raises(ItsUseError):
        house.alarmer.test()
    house.now_s += 30.0
    reports = {report.way: (report.outcome, report.text) for report in house.alarmer.test()}
    assert reports["mail"] == ("failed", "The server refuses user or password.")


def test_a_good_test_ends_the_ways_alarm_and_lets_out_what_waits(house: House) -> None:
    house.ways["mail"].answer = NEVER
    house.stand(BURST)
    house.step()
    house.step()
    house.ways["mail"].answer = DELIVERED
    house.alarmer.test()
    house.step()
    assert "alarm_failed-mail" not in house.engine.state.alerts
    assert house.told("mail")[-1] == "plot: a pipe may have burst"


def test_one_test_at_a_time(house: House) -> None:
    begun, go_on = threading.Event(), threading.Event()

    def slow(_: Message) -> Delivery:
        begun.set()
        go_on.wait(20.0)
        return DELIVERED

    house.ways["mail"].send = slow  # type: ignore[method-assign]
    first = threading.Thread(target=house.alarmer.test)
    first.start()
    assert begun.wait(20.0)
    with pytest.raises(ItsUseError):
        house.alarmer.test()
    go_on.set()
    first.join(20.0)


# -- threads, and the engine's thread that waits for nothing


def test_a_way_that_hangs_holds_up_neither_the_engine_nor_the_other_way(house: House) -> None:
    hangs, arrived = threading.Event(), threading.Event()

    def hung(_: Message) -> Delivery:
        hangs.wait(60.0)
        return DELIVERED

    def came(_: Message) -> Delivery:
        arrived.set()
        return DELIVERED

    house.ways["mail"].send = hung  # type: ignore[method-assign]
    house.ways["command"].send = came  # type: ignore[method-assign]
    house.alarmer.start()
    try:
        house.stand(BURST)
        assert arrived.wait(30.0)
        done = threading.Event()

        def tell() -> None:
            for _ in range(1000):
                house.stand(BURST)
            done.set()

        threading.Thread(target=tell, daemon=True).start()
        assert done.wait(30.0)
    finally:
        hangs.set()
        house.alarmer.stop()


def test_the_engines_thread_takes_no_lock(house: House) -> None:
    with house.alarmer._lock, house.alarmer._fitting:
        done = threading.Event()

        def tell() -> None:
            house.alarmer.hear(NOON_S, Alerts(standing=(BURST,)))
            done.set()

        threading.Thread(target=tell, daemon=True).start()
        assert done.wait(20.0)


# -- the engine's part


def test_the_event_survives_the_journal_and_is_answered_alike() -> None:
    event = AlarmWay(at_utc_s=NOON_S, mono_s=5.0, way="mail", works=False, cause="no answer")
    again = EVENT_JSON.validate_json(EVENT_JSON.dump_json(event))
    assert again == event
    first, second = begun_engine(), begun_engine()
    assert first.step(event) == second.step(again)
    assert first.step(event) == []
    ended = first.step(AlarmWay(at_utc_s=NOON_S + 9.0, mono_s=9.0, way="mail", works=True))
    assert any(isinstance(effect, Alerts) and effect.standing == () for effect in ended)
