"""What a step of a script does to a garden's life."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from controller.effects import Lease
from controller.events import (
    AlarmWay,
    ForeignController,
    GardenChanged,
    OrderKind,
    OutlookSpan,
    ProbeReading,
    RainOutlook,
    Stumbled,
)
from controller.inbox import Canary, Inbox
from controller.sensing.payload import ControllerState
from sim.faults import Fault, Kind, What
from tests.scripts.gardens import garden_of, json_of

if TYPE_CHECKING:
    from tests.scripts.life import Life

JUNK = (
    b"",
    b"null",
    b"NaN",
    b"-Infinity",
    b"1e999",
    b"\xff\xfe{}",
    b"[" * 2000,
    b"9" * 1900,
    b"x" * 5000,
    b'{"open": true, "open": false}',
    b'{"litres_total": NaN, "up_s": 1, "boot": "x"}',
    b'{"open": true, "left_s": 71, "dose": "x", "nonce": "n", "boot": "b"}',
    b'{"open": 1, "left_s": "9", "dose": 3, "nonce": null, "boot": [], "epoch": -1, "seq": 1.5}',
    b'{"moist": 1e308}',
    b'{"state": "up", "epoch": 99999999999999999999999}',
    b"0.2\x00",
    "０．２".encode(),
    b'[{"n": "x", "v": 1}]',
)


def order(life: Life, what: str, fields: dict[str, Any]) -> None:
    """A person orders something; `ahead_s` is an instant to come, `{"litres": "nan"}` no number."""
    told = dict(fields)
    if "ahead_s" in told:
        told["until_utc_s"] = life.at_utc_s + told.pop("ahead_s")
    if "span" in told:
        told["spans"] = (OutlookSpan(from_utc_s=life.at_utc_s, **told.pop("span")),)
    for key in ("litres", "open_s"):
        if isinstance(told.get(key), str):
            told[key] = float(told[key])
    if not life.power:
        return
    life.seen.one("order", what)
    life.feed(life.order_event(OrderKind(what), **told))


def nag(life: Life, bed: str, times: int, every_s: float, litres: float) -> None:
    """Somebody orders the same again and again."""
    order(life, "water", {"bed": bed, "litres": litres})
    if times > 1:
        life.at(life.now_s + every_s, nag, life, bed, times - 1, every_s, litres)


def spam(life: Life, times: int, litres: float) -> None:
    """Many orders at once, for every bed."""
    beds = list(life.garden.beds)
    for n in range(times):
        order(life, "water", {"bed": beds[n % len(beds)], "litres": litres})


def look_after(life: Life) -> None:
    """A person puts things right: mends, unlocks, lifts what stands with a reason."""
    life.mend_all()
    if not life.power:
        life.wake("kill")
    if not life.engine.state.armed:
        restart(life, "kill", 5.0)
        return
    order(life, "unlock", {})
    order(life, "resume", {})
    for bed in life.garden.beds:
        order(life, "resume", {"bed": bed})
    for alert in list(life.engine.state.alerts):
        order(life, "clear", {"alert": alert, "why": "looked at it"})


def clear(life: Life, why: str) -> None:
    """Somebody lifts the first alert that stands, with or without a reason."""
    for alert in list(life.engine.state.alerts)[:1]:
        order(life, "clear", {"alert": alert, "why": why})


def fault(life: Life, kind: str, name: str, what: str, value: float, lasts_s: float) -> None:
    """Something breaks for a while."""
    one = Fault(start_s=0.0, kind=Kind(kind), name=name, what=What(what), value=value)
    life.break_it(one, lasts_s)


def network(life: Life, kind: str, lasts_s: float) -> None:
    """The network loses, holds up, doubles or reorders."""
    life.seen.one("network", kind)
    life.network = kind

    def calm() -> None:
        if life.network == kind:
            life.network = "clean"

    life.at(life.now_s + lasts_s, calm)


def deaf_to_close(life: Life, valve: str, lasts_s: float) -> None:
    """Closes do not reach a node."""
    life.seen.one("network", "deaf_to_close")
    life.deaf_to_close.add(valve)
    life.at(life.now_s + lasts_s, life.deaf_to_close.discard, valve)


def record(life: Life, mode: str, lasts_s: float) -> None:
    """The disk hangs or refuses for a while."""
    life.seen.one("record", mode)
    life.set_record(mode)
    life.at(life.now_s + lasts_s, life.set_record, "ok")


def restart(life: Life, how: str, gap_s: float) -> None:
    """The process ends and begins anew after a while."""
    if not life.power or life.breakage.controller_down:
        return
    life.seen.one("restart", how)
    life.kill(how)

    def wake() -> None:
        if not life.breakage.controller_down:
            life.wake(how)

    life.at(life.now_s + gap_s, wake)


def wall(life: Life, how: str, seconds: float) -> None:
    """The wall clock is set."""
    life.seen.one("wall clock", how)
    match how:
        case "right":
            life.wall_off_s = 0.0
        case "1970":
            life.wall_off_s = -(life.start_utc_s + life.now_s) + 1000.0
        case _:
            life.wall_off_s += seconds


def contract(life: Life, valve: str) -> None:
    """A node is replaced by one of another contract until somebody looks after it."""
    if valve in life.nodes:
        life.seen.one("other", "contract")
        life.contracts[valve] = 2


def stranger(life: Life, how: str, valve: str, number: int) -> None:
    """Somebody else speaks: as a controller, or to a node."""
    life.seen.one("stranger", how)
    if how == "foreign":
        if life.power and life.link:
            epoch = max(0, life.engine.state.epoch + number)
            life.feed(ForeignController(**life.times(), epoch=epoch))
        return
    node = life.nodes.get(valve)
    if node is None:
        return
    own = [one for one in life.sent if one[1].valve == valve]
    if how in {"replayed", "retained"} and own:
        _, lease, nonce = own[-1 - number % min(len(own), 40)]
        if how == "replayed":
            life.water.lease(lease, nonce, stranger=True)
        else:
            payload = _payload(lease, nonce)
            node.hear("lease", payload, retained=True, now_s=life.now_s)
        life.tell(valve)
        return
    epoch, seq = life.oracle.order[valve]
    lease = Lease(valve=valve, open_s=60, dose="x", epoch=epoch + number, seq=seq + 1)
    nonce = "guess"
    if how == "stolen":
        nonce = node.fresh_nonce(life.now_s)
        life.oracle.told(valve, nonce)
        life.oracle.sent_s[valve, lease.epoch, lease.seq] = life.now_s
    life.water.lease(lease, nonce, stranger=True)
    life.tell(valve)


def _payload(lease: Lease, nonce: str) -> bytes:
    told = {
        "open_s": lease.open_s,
        "dose": lease.dose,
        "epoch": lease.epoch,
        "seq": lease.seq,
        "nonce": nonce,
    }
    return json.dumps(told).encode()


def junk(life: Life, number: int) -> None:
    """Bytes that no node sends, on every topic; what is understood of them is fed."""
    life.seen.one("other", "junk")
    inbox = Inbox(life.garden)
    topics = [topic for topic, _ in inbox.subscriptions()]
    payload = JUNK[number % len(JUNK)]
    for topic in topics:
        for heard in inbox.hear(topic, payload, retained=number % 7 == 0, **life.times()):
            if not isinstance(heard, Canary | ControllerState) and life.link:
                life.feed(heard)


def sky(life: Life, temp_c: float, rain_mm: float, lasts_s: float) -> None:
    """Rain falls at once; the cold stays for a while."""
    life.seen.one("other", "rain" if rain_mm > 0.0 else "frost")
    life.rain_mm += rain_mm
    for bed in life.depletion:
        life.depletion[bed] = max(-0.05, life.depletion[bed] - rain_mm / 77.0)
    before_c, life.temp_c = life.temp_c, temp_c

    def over() -> None:
        if life.temp_c == temp_c:
            life.temp_c = max(before_c, 12.0)

    life.at(life.now_s + lasts_s, over)


def outlook(life: Life, rain_mm: float, chance_frac: float, hours: float) -> None:
    """Somebody foretells rain."""
    life.seen.one("other", "outlook")
    span = OutlookSpan(
        from_utc_s=life.at_utc_s, hours=hours, rain_mm=rain_mm, chance_frac=chance_frac
    )
    life.feed(RainOutlook(**life.times(), spans=(span,)))


def reload(life: Life, how: str) -> None:
    """The garden file is read anew."""
    if not life.power:
        return
    names = {"same": "reload", "tight": "reload_tight", "refused": "reload_refused"}
    life.seen.one("other", names[how])
    if how == "refused":
        life.feed(GardenChanged(**life.times(), garden_json=None, cause="a typing slip"))
        return
    told, tight = (life.script.garden, life.script.start), how == "tight"
    life.garden, life.garden_json = garden_of(*told, tight=tight), json_of(*told, tight=tight)
    life.feed(GardenChanged(**life.times(), garden_json=life.garden_json))


def dry(life: Life, bed: str | None, depletion_frac: float) -> None:
    """The ground is as dry as that from now on."""
    for name in [bed] if bed is not None else list(life.garden.beds):
        life.depletion[name] = depletion_frac


def swap(life: Life, one: str, other: str) -> None:
    """Two beds' probes are exchanged until somebody looks after them."""
    life.seen.one("other", "swapped")
    life.swapped = {one: other, other: one}


def told(life: Life, probe: str, how: str) -> None:
    """A probe tells something odd."""
    if not life.link or probe not in life.probe_nodes:
        return
    life.seen.one("reading", how)
    node = life.probe_nodes[probe]
    value = round(life.theta(probe), 4)
    fields: dict[str, Any] = {"value": value}
    match how:
        case "retained":
            fields = {"value": 0.02, "not_now": "retained"}
        case "future":
            fields = {"value": 0.02, "not_now": "future_dated"}
        case "repeated":
            fields = {"value": 0.15, "seq": 1, "boot": node.stamp(life.now_s)["boot"]}
        case "huge":
            fields = {"value": 1e300}
        case "unit":
            fields = {"value": value * 100.0}
        case "battery":
            fields = {"value": value, "battery_v": 0.4}
        case _:
            fields = {"value": value, "soil_temp_c": -40.0}
    life.feed(ProbeReading(**life.times(), probe=probe, **fields))


def pressure(life: Life, pressure_kpa: float, lasts_s: float) -> None:
    """The meter's node tells another pressure for a while, and the usual one again."""
    usual_kpa = life.garden.supply.pressure_kpa
    if usual_kpa is None:
        return
    life.seen.one("other", "pressure")
    life.pressure_kpa = pressure_kpa

    def usual() -> None:
        if life.pressure_kpa == pressure_kpa:
            life.pressure_kpa = usual_kpa

    life.at(life.now_s + lasts_s, usual)


def alarm_way(life: Life, works: bool) -> None:
    """A way out of the house fails, or works again."""
    life.seen.one("other", "alarm_way")
    life.feed(AlarmWay(**life.times(), way="mail", works=works, cause="" if works else "no answer"))


def stumble(life: Life, times: int) -> None:
    """The daemon tells its engine that it fell over something."""
    life.seen.one("other", "stumble")
    for _ in range(times):
        life.feed(Stumbled(**life.times(), over="probe"))


def crashes(life: Life, times: int, every_s: float) -> None:
    """The process is killed again and again."""
    restart(life, "kill", 1.0)
    if times > 1:
        life.at(life.now_s + every_s, crashes, life, times - 1, every_s)


def weeks_later(life: Life, days: float) -> None:
    """The last proof of the master valve lies so far back, as if the garden had stood calm."""
    if not life.power or life.record.mode != "ok":
        return
    life.seen.one("other", "weeks_later")
    proving = life.engine.state.proving
    back_s = life.engine.run.trusted_s - days * 86_400.0
    proving.sound_trusted_s = proving.since_trusted_s = back_s
    proving.tried_trusted_s = None
    life.keep_now()


ACTS: dict[str, Callable[..., None]] = {
    "order": order,
    "nag": nag,
    "spam": spam,
    "look_after": look_after,
    "clear": clear,
    "fault": fault,
    "network": network,
    "deaf_to_close": deaf_to_close,
    "record": record,
    "restart": restart,
    "wall": wall,
    "contract": contract,
    "stranger": stranger,
    "junk": junk,
    "sky": sky,
    "outlook": outlook,
    "reload": reload,
    "dry": dry,
    "swap": swap,
    "told": told,
    "alarm_way": alarm_way,
    "pressure": pressure,
    "stumble": stumble,
    "crashes": crashes,
    "weeks_later": weeks_later,
}
