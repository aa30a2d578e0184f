"""What `doctor` finds of the garden: daemon, broker, nodes, walk, proof, backups, its file. Pure.

`picture` is the garden's picture as `GET /api/garden` gives it, of the running daemon or of the
record's newest state.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from controller.keeping.findings import Finding, bad, caution, unknown, well
from controller.keeping.last import OLD_S, BackupState, age_words
from controller.sensing.flags import Flag

BOOTS_A_WEEK_MOST = 7
BACKFLOW_TEST_DAYS = 366  # testable devices yearly (hardware_notes/README.md, Backflow)
PROOF_LATE_DAYS = 9  # weekly, in the hours of a night, and a day's grace
BATTERY_FLAGS = {Flag.BROWN_OUT.value: "flat", Flag.BATTERY_FADING.value: "flat within a week"}
Picture = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What was read of a garden.

    Attributes:
        running: whether its daemon answers.
        picture: of the daemon, else of the record; None where there is none.
        broker: its address as people write it.
        broker_reached: whether something listens there; None where it was not tried.
        boots: how many boots each node told within a week, by its name.
        backups: how they stand.
        garden_file: the file that was looked at, empty for none.
        same_file: whether it is the one in force; None where that is not known.
        file_faults: what is wrong with it.
        ways: the ways out of the house that it sets.
        today: the garden's local day.
        record: what a look through the whole record found; None where it was not looked through.
        lost: how many events of its journal that look found damaged.
    """

    running: bool
    picture: Picture | None
    broker: str
    broker_reached: bool | None
    boots: Mapping[str, int]
    backups: BackupState
    garden_file: str
    same_file: bool | None
    today: date
    file_faults: tuple[str, ...] = ()
    ways: tuple[str, ...] = ()
    record: str | None = field(default=None)
    lost: int = 0


def garden_findings(seen: Seen) -> list[Finding]:
    """All that concerns the garden."""
    found = [daemon(seen), broker(seen), file(seen), backups(seen), alarms(seen)]
    if seen.record is not None:
        found.append(record(seen.record, seen.lost))
    found.append(boots(seen.boots))
    if seen.picture is None:
        return [*found, unknown("garden", "There is no record of a garden yet.")]
    picture = seen.picture
    return [
        *found,
        batteries(picture),
        alerts(picture),
        walk(picture),
        proof(picture, seen.today),
        backflow(picture, seen.today),
    ]


def daemon(seen: Seen) -> Finding:
    """Whether the garden is kept at all."""
    if seen.running:
        return well("daemon", "The daemon answers.")
    return bad("daemon", "No daemon answers.", "Start it: `systemctl start thirstline`, or `run`.")


def broker(seen: Seen) -> Finding:
    """Whether the broker is there, and the daemon is on it."""
    linked = seen.picture is not None and bool(seen.picture.get("link_up"))
    if seen.running and linked:
        return well("broker", f"The daemon is linked to {seen.broker}.")
    if seen.broker_reached is None:
        return unknown("broker", "Which broker is not known.", "Name the garden file.")
    if not seen.broker_reached:
        todo = "Is it running? `systemctl status mosquitto`. Without it nothing opens."
        return bad("broker", f"Nothing listens at {seen.broker}.", todo)
    if seen.running:
        todo = "It refuses: are user, password file and access list right? See the daemon's log."
        return bad("broker", f"{seen.broker} listens, the daemon has no link to it.", todo)
    return well("broker", f"{seen.broker} listens.")


def file(seen: Seen) -> Finding:
    """Whether the garden file is the one in force."""
    name = "garden file"
    if seen.file_faults:
        return bad(name, seen.file_faults[0], "The old one stays in force until this is mended.")
    if not seen.garden_file:
        return unknown(name, "Which garden file is not known.", "Name it: thirstline doctor FILE.")
    if seen.same_file is None:
        return unknown(name, f"{seen.garden_file} is in order; none is in force yet.")
    if not seen.same_file:
        todo = "Have it read: `systemctl reload thirstline`, or a restart where wires changed."
        return caution(name, f"{seen.garden_file} is not the one in force.", todo)
    return well(name, f"{seen.garden_file} is the one in force.")


def backups(seen: Seen) -> Finding:
    """How old the last backup is, and whether it would outlive the disk."""
    name, state = "backups", seen.backups
    words = age_words(state)
    make = "Make one: thirstline backup FOLDER, on another disk or a stick."
    if state.age_s is None:
        return caution(name, words, make)
    if not state.age_s <= OLD_S:
        return caution(name, words, make)
    if state.age_s < -OLD_S:
        return caution(name, "The last backup is dated in the future.", "Look at the clock.")
    if not state.there:
        todo = "A stick that is put away is well; look that it can be read."
        return well(name, f"{words} It is not plugged in now. {todo}")
    if state.same_disk:
        return caution(name, words, "It does not outlive the card: back up to another disk.")
    return well(name, words)


def record(found: str, lost: int = 0) -> Finding:
    """What a look through the whole record found, empty is well, and how much of its journal."""
    if not found and lost:
        said = f"{lost} events of the journal are damaged and lost; all else is whole."
        return caution("record", said, "The card may be failing: make a backup, then change it.")
    if not found:
        return well("record", "Every page of the record is whole.")
    return bad("record", found, "Stop the daemon and put a backup back: thirstline restore.")


def alarms(seen: Seen) -> Finding:
    """Whether anybody who is away hears of anything."""
    if not seen.ways:
        todo = "Set [alarm] in the garden file, then: thirstline alarm test."
        return caution("alarms", "No way out of the house is set.", todo)
    return well("alarms", f"Alarms go out by {' and '.join(seen.ways)}.")


def boots(told: Mapping[str, int]) -> Finding:
    """Whether nodes start anew again and again: a weak supply, a bad joint."""
    often = {name: count for name, count in told.items() if count > BOOTS_A_WEEK_MOST}
    if not told:
        return unknown("boots", "No node tells its boots.")
    if often:
        which = ", ".join(f"{name} ({count})" for name, count in sorted(often.items()))
        todo = "Look at its supply, its cable and its joints."
        return caution("boots", f"Nodes that started anew often this week: {which}.", todo)
    return well("boots", f"{len(told)} nodes tell their boots; none started anew often this week.")


def batteries(picture: Picture) -> Finding:
    """The nodes' batteries, by what they tell and what their trend says."""
    probes = _probes(picture)
    told = {name: v for name, one in probes.items() if (v := one.get("battery_v")) is not None}
    weak = {
        name: BATTERY_FLAGS[flag["code"]]
        for name, one in probes.items()
        for flag in one.get("flags", ())
        if flag["code"] in BATTERY_FLAGS
    }
    if weak:
        which = ", ".join(f"{name}: {word}" for name, word in sorted(weak.items()))
        return caution("batteries", f"{which}.", "Charge or change them; see its panel for dirt.")
    if not told:
        return unknown("batteries", "No probe tells its battery.")
    low = min(told, key=lambda name: told[name])
    return well("batteries", f"{len(told)} told, the lowest is {low} with {told[low]:.2f} V.")


def alerts(picture: Picture) -> Finding:
    """What stands."""
    standing = picture.get("alerts", [])
    person = [alert for alert in standing if alert.get("person_needed")]
    if person:
        return bad("alerts", str(person[0]["text"]), "Look at it, then lift it on the page.")
    if standing:
        codes = ", ".join(sorted({str(alert["code"]) for alert in standing}))
        return caution("alerts", f"What stands: {codes}.", "See the page, or `thirstline status`.")
    return well("alerts", "No alert stands.")


def walk(picture: Picture) -> Finding:
    """Whether every valve was walked."""
    told = picture.get("walk", {})
    beds = told.get("beds", {})
    missing = [bed for bed, one in beds.items() if not one.get("armed")]
    dates = sorted(str(one["at"]) for one in beds.values() if one.get("at"))
    if missing and told.get("needed", True):
        todo = "Walk them: thirstline walk GARDEN. A valve that was not walked never opens."
        return bad("walk", f"Not walked, or changed since: {', '.join(missing)}.", todo)
    if not dates:
        return caution("walk", "A trial: no valve was walked.", "A garden needs its walk.")
    return well("walk", f"Every valve was walked, the earliest on {dates[0][:10]}.")


def proof(picture: Picture, today: date) -> Finding:
    """Whether the master valve proved itself lately."""
    told = picture.get("walk", {}).get("proof", {})
    if not told.get("provable"):
        return unknown(
            "master proof",
            "There is no weekly proof: it needs a master valve, a meter and the walk.",
            "Without a master valve nothing stops a bed valve that sticks open.",
        )
    last = told.get("last")
    if last is None:
        return caution(
            "master proof", "The master valve was not proved yet.", "It will be, weekly."
        )
    day = _day(last["at"])
    if last["code"] != "ok":
        return bad("master proof", str(last["text"]), "Look at the master valve, then walk again.")
    if day is None or not today - day <= timedelta(days=PROOF_LATE_DAYS):
        todo = "A lock, a pause or water that runs puts it off: see `thirstline status`."
        return caution("master proof", f"The last one was on {last['at'][:10]}.", todo)
    return well("master proof", f"The master valve proved itself on {last['at'][:10]}.")


def backflow(picture: Picture, today: date) -> Finding:
    """Whether the device that keeps garden water out of the mains was named and tested."""
    told = picture.get("walk", {}).get("backflow")
    if told is None:
        return caution("backflow", "No backflow device was named.", "Say it at the walk.")
    tested = told.get("tested")
    day = None if tested is None else _day(tested)
    if day is not None and not today - day <= timedelta(days=BACKFLOW_TEST_DAYS):
        return caution("backflow", f"It was tested on {tested}.", "Have it tested: yearly.")
    return well("backflow", str(told["text"]))


def _probes(picture: Picture) -> dict[str, Mapping[str, Any]]:
    return {
        name: probe
        for bed in picture.get("beds", {}).values()
        for name, probe in bed.get("probes", {}).items()
    }


def _day(text: str) -> date | None:
    try:
        return datetime.fromisoformat(text).date()
    except ValueError:
        return None
