"""Mail and command: what gets out, what is refused, what is never said, and within which limits."""

from __future__ import annotations

import email
import email.policy
import json
import logging
import socket
import stat
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from controller.alarming import command as command_module
from controller.alarming import mail as mail_module
from controller.alarming.command import CommandWay
from controller.alarming.letters import Message, alarm_letter, merged, trial_letter
from controller.alarming.mail import MailWay
from controller.alarming.told import Item
from controller.alarming.ways import DELIVERED, Delivery
from controller.alarming.weekly import Given, weekly_letter
from controller.effects import Alert
from controller.garden import Garden
from controller.garden_ways import Mail
from controller.keeping.last import BackupState, weekly_words
from tests.engine_garden import START_UTC_S, small_garden
from tests.mail_server import MailServer, trusting

SECRET = "tomato-42-secret"  # noqa: S105 - of these tests alone
LEAK = Alert(
    id="leak",
    code="leak",
    since_utc_s=START_UTC_S,
    text="0.4 L/min flow although every valve is told to be closed.",
    person_needed=True,
)


def garden(**alarm: Any) -> Garden:
    told = small_garden().model_dump(mode="json")
    told["garden"]["name"] = "Hollin Lane plot"
    return Garden.model_validate({**told, "alarm": alarm})


def letter() -> Message:
    items = [Item(what="new", alert=LEAK, at_utc_s=START_UTC_S)]
    return alarm_letter(garden(), items, 7, START_UTC_S + 60.0)


class Post:
    """A mail server and the way to it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.server: MailServer | None = None

    def way(self, server: MailServer, *, trusted: bool = True, **fields: Any) -> MailWay:
        self.server = server
        told = {
            "host": "localhost",
            "port": server.port,
            "to": ["me@a.example", "you@b.example"],
            "tls": server.security,
            **fields,
        }
        if server.account is not None:
            password = self.folder / "mail.pass"
            password.write_text(f"{SECRET}\n")
            told |= {"user": server.account[0], "password_file": str(password)}
        mail = Mail.model_validate(told)
        context = trusting(self.folder) if trusted else None
        return MailWay(mail, garden(mail=told), context)


@pytest.fixture
def post(tmp_path: Path) -> Iterator[Post]:
    made = Post(tmp_path)
    yield made
    if made.server is not None:
        made.server.close()


# -- mail


@pytest.mark.parametrize("security", ["starttls", "tls", "none"])
def test_a_letter_arrives_at_every_address(post: Post, tmp_path: Path, security: str) -> None:
    server = MailServer(tmp_path, security=security, account=("me@a.example", SECRET))
    assert post.way(server).send(letter()) == DELIVERED
    sender, to, text = server.letters[0]
    assert sender == "me@a.example"
    assert to == ["me@a.example", "you@b.example"]
    read = email.message_from_string(text, policy=email.policy.default)
    assert read["Subject"] == "Hollin Lane plot: water runs with every valve closed"
    assert read["From"] == "me@a.example"
    assert read["Message-ID"] == f"<plot-alarm-7-{START_UTC_S + 60:.0f}@plot.thirstline.invalid>"
    assert "Shut the tap" in text
    assert "Tue 14 Jul 23:00" in text
    assert "PDT" in text


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_nothing_is_said_to_a_server_whose_certificate_is_not_trusted(
    post: Post, tmp_path: Path, security: str
) -> None:
    server = MailServer(tmp_path, security=security, account=("me", SECRET))
    sent = post.way(server, trusted=False).send(letter())
    assert sent.out is False
    assert sent.lasting
    assert "certificate" in sent.cause
    assert not any(line.startswith(("AUTH", "MAIL")) for line in server.heard)


def test_a_server_that_hides_starttls_hears_no_password(post: Post, tmp_path: Path) -> None:
    server = MailServer(tmp_path, security="none", account=("me", SECRET))
    sent = post.way(server, tls="starttls").send(letter())
    assert (sent.out, sent.lasting) == (False, True)
    assert not any(line.startswith(("AUTH", "MAIL")) for line in server.heard)


@pytest.mark.parametrize(
    ("answers", "cause", "lasting"),
    [
        ({"AUTH": "535 no"}, "refuses user or password", True),
        ({"RCPT": "550 no"}, "refuses every address", True),
        ({"RCPT": "451 later"}, "refuses every address", False),
        ({"MAIL": "552 no"}, "says no (552)", True),
        ({"DATA": "451 later"}, "says no (451)", False),
        ({"END": "554 no"}, "says no (554)", True),
        ({"EHLO": "421 busy", "HELO": "421 busy"}, "says no (421)", False),
    ],
    ids=lambda value: next(iter(value.values())) if isinstance(value, dict) else None,
)
def test_a_refusal_is_one_of_our_own_sentences(
    post: Post, tmp_path: Path, answers: dict[str, str], cause: str, *, lasting: bool
) -> None:
    server = MailServer(tmp_path, account=("me", SECRET), answers=answers)
    sent = post.way(server).send(letter())
    assert sent.out is False
    assert cause in sent.cause
    assert sent.lasting is lasting


def test_one_refused_address_of_two_is_told_and_nothing_sent_again(
    post: Post, tmp_path: Path
) -> None:
    server = MailServer(tmp_path, answers={"RCPT you@b.example": "550 no"})
    sent = post.way(server).send(letter())
    assert sent == Delivery(out=True, cause="the server refuses 1 of 2 addresses", lasting=True)
    assert [to for _, to, _ in server.letters] == [["me@a.example"]]


def test_a_mute_server_costs_its_time_limit(
    post: Post, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mail_module, "ANSWER_S", 0.05)
    sent = post.way(MailServer(tmp_path, mute=True)).send(letter())
    assert sent.out is False
    assert sent.lasting is False
    assert sent.cause.startswith("no answer within")


def test_nobody_listens(post: Post, tmp_path: Path) -> None:
    server = MailServer(tmp_path)
    way = post.way(server)
    server.close()
    assert way.send(letter()).cause == "nothing listens at that host and port"


def test_an_unknown_name(monkeypatch: pytest.MonkeyPatch) -> None:
    def unknown(*_: object, **__: object) -> None:
        raise socket.gaierror(-2, SECRET)

    monkeypatch.setattr(socket, "getaddrinfo", unknown)
    mail = Mail.model_validate({"host": "mail.example", "to": ["me@a.example"]})
    assert MailWay(mail, garden()).send(letter()).cause == "the server's name is not known"


@pytest.mark.parametrize("content", [None, "", "\n", "\xff"], ids=["gone", "empty", "blank", "bad"])
def test_a_password_file_that_says_nothing(post: Post, tmp_path: Path, content: str | None) -> None:
    way = post.way(MailServer(tmp_path, account=("me", SECRET)))
    path = tmp_path / "mail.pass"
    path.unlink()
    if content is not None:
        path.write_bytes(content.encode("latin-1"))
    assert way.send(letter()) == Delivery(
        out=False, cause="the password file cannot be read", lasting=True
    )


def test_a_changed_password_counts_without_a_restart(post: Post, tmp_path: Path) -> None:
    way = post.way(MailServer(tmp_path, account=("me", "another")))
    assert way.send(letter()).out is False
    (tmp_path / "mail.pass").write_text("another")
    assert way.send(letter()) == DELIVERED


def test_the_password_is_in_no_cause_log_or_text(
    post: Post, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    server = MailServer(tmp_path, account=("me", "another"))
    way = post.way(server)
    sent = way.send(letter())
    assert SECRET not in sent.cause + caplog.text + repr(way) + repr(sent)


# -- the account in the garden file


@pytest.mark.parametrize(
    ("fields", "cause"),
    [
        ({"tls": "none"}, "this machine only"),
        ({"user": "me"}, "no password_file"),
        ({"password_file": "x"}, "no user"),
        ({"tls": "ssl"}, "'ssl' is not"),
        ({"to": ["a@b.example, c@d.example"]}, "mail address"),
        ({"from": "me"}, "mail address"),
        ({"to": []}, "1 to 10"),
    ],
    ids=["plain", "no-password", "no-user", "tls", "two-in-one", "from", "nobody"],
)
def test_an_account_that_is_not_safe_or_sound_is_refused(
    tmp_path: Path, fields: dict[str, Any], cause: str
) -> None:
    from controller.errors import GardenError
    from controller.garden import load_garden
    from sim.examples import find_garden

    told = {"host": "mail.example", "to": ["me@a.example"], **fields}
    mail = ", ".join(f"{key} = {json.dumps(value)}" for key, value in told.items())
    text = find_garden("hollin-lane").read_text(encoding="utf-8")
    path = tmp_path / "garden.toml"
    path.write_text(f"{text}\n[alarm]\nmail = {{{mail}}}\n")
    with pytest.raises(GardenError) as refused:
        load_garden(path)
    assert len(refused.value.faults) == 1
    assert cause in refused.value.faults[0]


def test_an_account_survives_the_journal_and_knows_its_defaults() -> None:
    plain = garden(mail={"host": "m.example", "to": ["b@c.example"]})
    again = Garden.model_validate_json(plain.model_dump_json())
    assert again.alarm == plain.alarm
    assert again.alarm.mail is not None
    assert again.alarm.mail.security == "starttls"
    assert again.alarm.mail.sender_or_first == "b@c.example"
    told = garden(mail={"host": "m", "port": 465, "to": ["b@c"], "from": "x@y"})
    again = Garden.model_validate_json(told.model_dump_json())
    assert again.alarm.mail is not None
    assert again.alarm.mail.security == "tls"
    assert again.alarm.mail.sender_or_first == "x@y"


# -- a command


def script(folder: Path, text: str) -> list[str]:
    path = folder / "tell.py"
    path.write_text(f"#!{sys.executable}\nimport json, os, sys, pathlib\n{text}\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return [str(path), "a b", "$HOME; rm"]


def test_a_command_has_the_alert_on_its_input_and_no_shell(tmp_path: Path) -> None:
    out = tmp_path / "out.json"
    argv = script(
        tmp_path,
        f"told = {{'stdin': json.load(sys.stdin), 'argv': sys.argv[1:], 'env': dict(os.environ)}}\n"
        f"pathlib.Path({str(out)!r}).write_text(json.dumps(told))",
    )
    environ = {"PATH": "/usr/bin:/bin", "THIRSTLINE_TOKEN": SECRET, "LANG": "C.UTF-8"}
    assert CommandWay(argv, garden(), environ).send(letter()) == DELIVERED
    told = json.loads(out.read_text())
    assert told["argv"] == ["a b", "$HOME; rm"]
    assert SECRET not in json.dumps(told)
    assert told["env"]["THIRSTLINE_SUBJECT"].startswith("Hollin Lane plot: water runs")
    assert "Shut the tap" in told["env"]["THIRSTLINE_TEXT"]
    heard = told["stdin"]
    assert (heard["garden"], heard["kind"]) == ("plot", "alarm")
    assert heard["alerts"] == [
        {
            "what": "new",
            "id": "leak",
            "code": "leak",
            "bed": None,
            "valve": None,
            "probe": None,
            "since": "2026-07-15T06:00:00Z",
            "text": LEAK.text,
            "person_needed": True,
        }
    ]


def test_a_command_that_fails_says_its_status_and_nothing_of_its_words(tmp_path: Path) -> None:
    argv = script(tmp_path, f"print({SECRET!r}, file=sys.stderr); sys.exit(3)")
    sent = CommandWay(argv, garden(), {}).send(letter())
    assert sent == Delivery(out=False, cause="the program ended with status 3")


def test_a_command_that_reads_nothing_is_no_fault(tmp_path: Path) -> None:
    assert CommandWay(script(tmp_path, "sys.stdin.close()"), garden(), {}).send(letter()).out


def test_a_command_that_hangs_is_ended_with_all_that_it_started(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command_module, "MOST_S", 0.05)
    left, right = socket.socketpair()
    argv = ["/bin/sh", "-c", "sleep 600 & wait"]
    keep = right.fileno()
    popen = command_module.subprocess.Popen
    monkeypatch.setattr(
        command_module.subprocess,
        "Popen",
        lambda *args, **kwargs: popen(*args, **kwargs, pass_fds=(keep,)),
    )
    sent = CommandWay(argv, garden(), {"PATH": "/usr/bin:/bin"}).send(letter())
    right.close()
    assert sent.out is False
    assert "did not end" in sent.cause
    left.settimeout(20.0)
    assert left.recv(1) == b""  # the last of them is gone
    left.close()


def test_a_program_that_is_not_there(tmp_path: Path) -> None:
    way = CommandWay([str(tmp_path / "none")], garden(), {})
    assert way.send(letter()) == Delivery(out=False, cause="there is no such program", lasting=True)
    way = CommandWay([str(tmp_path)], garden(), {})
    assert way.send(letter()).lasting


# -- words


def test_a_letter_says_what_to_do_and_when_it_began_in_local_time() -> None:
    told = letter()
    lines = told.text.splitlines()
    assert lines[0] == f"New, since Tue 14 Jul 23:00: {LEAK.text}"
    assert lines[1].startswith("What to do: ")
    assert lines[-1] == "Hollin Lane plot, Tue 14 Jul 23:01 PDT."


def test_a_name_with_odd_letters_makes_no_second_header(post: Post, tmp_path: Path) -> None:
    server = MailServer(tmp_path)
    way = post.way(server)
    told = trial_letter(garden(), 1, START_UTC_S)
    evil = Message(
        id=told.id, kind="test", at_utc_s=0.0, subject="a\r\nBcc: x@y.example", text=told.text
    )
    sent = way.send(evil)
    assert sent.out is False
    assert server.letters == []


def test_messages_that_waited_become_one() -> None:
    one, two = letter(), trial_letter(garden(), 9, START_UTC_S + 99.0)
    both = merged([one, two])
    assert both.id == one.id
    assert both.subject == f"{two.subject} (and 1 before it)"
    assert both.text.index(two.text) < both.text.index(one.text)
    assert both.told == one.told
    assert merged([one]) is one


PICTURE = {
    "beds": {
        "south": {
            "state": "drying",
            "depletion_frac": 0.31,
            "thirst_line_frac": 0.42,
            "probes": {
                "south-20": {"trust": "whole", "battery_v": 3.61},
                "south-40": {"trust": "out", "battery_v": 3.02},
            },
        },
        "old": {"state": "cleared", "depletion_frac": 0.9, "thirst_line_frac": 0.4, "probes": {}},
    }
}


def weekly(*standing: Alert, week: list[Given] | None, backup: str = "") -> Message:
    return weekly_letter(
        garden(),
        PICTURE,
        week,
        standing,
        due_utc_s=START_UTC_S,
        now_utc_s=START_UTC_S + 5.0,
        next_utc_s=START_UTC_S + 7 * 86_400.0,
        backup=backup,
    )


@pytest.mark.parametrize(
    ("age_s", "words"),
    [(2e5, "made 2 days ago."), (None, "Make one: thirstline backup"), (8e5, "Make one")],
)
def test_the_weeks_letter_tells_how_old_the_last_backup_is(age_s: float | None, words: str) -> None:
    state = BackupState(age_s=age_s, there=True, same_disk=False)
    assert words in weekly(week=None, backup=weekly_words(state)).text
    assert ("Make one" in weekly_words(state)) is (age_s != 2e5)


def test_the_weeks_letter_tells_water_beds_probes_batteries_and_when_the_next_comes() -> None:
    told = weekly(week=[Given(bed="south", waterings=2, litres=211.6)])
    assert told.subject == "Hollin Lane plot: all is well"
    for words in (
        "212 L in 2 waterings. South 212 L in 2.",
        "South: 31 % used, thirst line 42 %.",
        "1 of 2 sound; in doubt or silent: south-40.",
        "the lowest is south-40 with 3.02 V",
        "No alert stands.",
        "comes on Tue 21 Jul 23:00. If it does not, look",
    ):
        assert words in told.text
    assert "Old" not in told.text


def test_the_weeks_letter_never_says_well_where_something_stands() -> None:
    told = weekly(LEAK, week=None)
    assert told.subject == "Hollin Lane plot: the week, 1 alert standing"
    assert LEAK.text in told.text
    assert "the record cannot be read" in told.text
