"""From the daemon's view to what the front page says: one headline, what to do, one card a bed.

Everything here is words and order; nothing is decided. A valve is called closed only where the
daemon says so, and only as *last seen closed* while there is no contact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from markupsafe import Markup

from api.desk import Desk
from api.page import felt, plant, strip, teachings
from api.page.advice import advice
from api.page.changes import changes
from api.page.holds import (
    OPEN_VALVES,
    alert_text,
    alerts_to_show,
    back_in_contact,
    bed_pause,
    bed_reason,
    drinks_by_itself,
    garden_pause,
    garden_stop,
    hose_until,
    kept_until_s,
    later_words,
    likely_s,
    next_words,
    promised_s,
    reason_numbers,
    runs,
    stopped_until_s,
    unheard,
    usual_s,
)
from api.page.scarce import supply_words, turn_words, waits_for_water
from api.page.states import drawn_words, given_words, label_words, left_words, valve_words
from api.page.strip_scale import Ahead
from api.page.walking import asks, walk_headline, walk_now, walk_words
from api.page.words import DAY_S, Tongue, bed_name, listed, named, number, utc_s_of
from api.problems import etag_of

SPANS = {"10": 10.0, "30": 30.0, "season": 150.0}  # [d] how far back the strips go
UNPROVED_VALVES = frozenset({"told_to_close", "unknown"})
NO_CONTACT = frozenset({"link_lost", "valve_silent", "bed_blind"})  # alerts of what is not heard
PIECES = list[tuple[str, bool]]  # text, and whether it is stressed

QUALITY_WORDS = {
    "ok": "they agree",
    "doubtful": "in doubt",
    "none": "none speaks; by its balance",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One bed on the page."""

    bed: str
    name: str
    plant: Markup
    label: str
    left: str
    next: str
    miss: str
    scarce: str
    reason: str
    valve: str
    valve_was: str
    is_open: bool
    runs: bool
    numbers: list[tuple[str, str]]
    changes: list[str]
    paused: bool
    stopped: bool
    strip: Markup
    last: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One alert on the page."""

    id: str
    where: str
    text: str
    todo: str
    since: str
    person_needed: bool


def tongue_of(view: dict[str, Any]) -> Tongue:
    """How this garden is spoken of."""
    garden = view["garden"]
    now = utc_s_of(view["at"])
    return Tongue(
        zone=ZoneInfo(garden["timezone"]),
        us=garden.get("units") == "us",
        now_utc_s=0.0 if now is None else now,
    )


def context(desk: Desk, span: str) -> dict[str, Any]:
    """All that the front page needs.

    Args:
        desk: the daemon.
        span: a key of `SPANS`.
    """
    tag = etag_of(desk.version())  # before the view: a view that is newer does no harm
    view = desk.view()
    tongue = tongue_of(view)
    beds = [_card(desk, view, tongue, bed, SPANS[span]) for bed in ordered(view)]
    notices = [notice(tongue, alert) for alert in alerts_to_show(view)]
    notices.sort(key=lambda notice: not notice.person_needed)
    return {
        "garden": view["garden"],
        "verdict": verdict(view),
        "headline": headline(view, tongue),
        "todo": todo(view, tongue),
        "beds": beds,
        "notices": notices,
        "any_open": any(card.is_open for card in beds) or walk_now(view) is not None,
        "walk": walk_now(view),
        "walk_line": walk_words(view, tongue),
        "stale": not view["link_up"],
        "lock_line": f"Locked: {view['holds']['lock_why']}" if view["holds"]["locked"] else "",
        "pause_line": garden_pause(view, tongue),
        "stop_line": garden_stop(view, tongue),
        "hose_until": hose_until(view, tongue),
        "sky": tongue.said(view.get("sky", {}).get("text", "")),
        "supply": supply_words(view, tongue),
        "tank": (view.get("supply") or {}).get("tank_l") is not None,
        "locked": view["holds"]["locked"],
        "demo": _demo_line(view),
        "tag": tag,
        "clock": tongue.clock(tongue.now_utc_s),
        "now_utc_s": tongue.now_utc_s,
        "speed": number(view["speed"]) or 1.0,
        "span": span,
        "spans": list(SPANS),
        "leaf": plant.LEAF,
    }


# -- the whole garden


def ordered(view: dict[str, Any]) -> list[str]:
    """The beds by who drinks next: those that drink now, then by window, then by name."""

    def rank(bed: str) -> tuple[bool, float, str]:
        state = view["beds"][bed]
        window = likely_s(state)
        paused_s = kept_until_s(view, bed) or 0.0
        begins_s = float("inf") if window is None else max(window[0], paused_s)
        return (not runs(state), begins_s, bed)

    return sorted(view["beds"], key=rank)


def verdict(view: dict[str, Any]) -> str:
    """Whether all is well, in a word; empty while that is still being found out."""
    shown = alerts_to_show(view)
    needed = any(alert["person_needed"] or alert["code"] in NO_CONTACT for alert in shown)
    if needed or asks(view) or view["holds"]["locked"] or not view["link_up"]:
        return "Look here:"
    unproved = any(bed["valve"] in UNPROVED_VALVES for bed in view["beds"].values())
    again = any(back_in_contact(view, bed) for bed in view["beds"])  # not judged since
    if unproved or again or unheard(view) or walk_now(view) or not view["ready"]:
        return ""
    return "Well, but for what stands below." if shown else "All is well."


def headline(view: dict[str, Any], tongue: Tongue) -> PIECES:
    """One sentence for the whole garden: what is wrong, who drinks, or who drinks next."""
    return _wrong(view) or walk_headline(view) or _drinking(view, tongue) or _next(view, tongue)


def _wrong(view: dict[str, Any]) -> PIECES:
    if view["holds"]["locked"]:
        return [("Locked.", True), (" Nothing opens until a person unlocks.", False)]
    if asks(view):
        return walk_headline(view)
    for alert in view["alerts"]:
        if alert["person_needed"]:
            where = bed_name(alert["bed"]) if alert["bed"] else "The garden"
            return [(where, True), (" needs you.", False)]
    if not view["link_up"]:
        return [("No contact", True), (" with the valves and probes. Nothing opens.", False)]
    silent = unheard(view)
    if silent and view["ready"]:
        return [("No word", True), (f" from {silent}.", False)]
    return []


def _drinking(view: dict[str, Any], tongue: Tongue) -> PIECES:
    beds = {bed: view["beds"][bed] for bed in ordered(view)}
    drinking = [bed for bed, state in beds.items() if state["valve"] in OPEN_VALVES]
    soaking = [bed for bed, state in beds.items() if state["state"] == "soaking"]
    some, verb = (drinking, "drink") if drinking else (soaking, "let it soak in")
    if len(some) > 1:
        return [(listed([bed_name(bed) for bed in some]), True), (f" {verb} now.", False)]
    if not some:
        return []
    given = given_words(beds[some[0]], tongue)
    verb = "drinks now" if drinking else "lets it soak in"
    return [(bed_name(some[0]), True), (f" {verb}{given and ': '}{given}.", False)]


def _next(view: dict[str, Any], tongue: Tongue) -> PIECES:
    paused = utc_s_of(view["holds"]["paused_until"])
    if paused is not None:
        return [("Paused", True), (f" until {tongue.when(paused)}.", False)]
    if not view["ready"]:
        return [("Just started.", True), (" For two minutes valves are only closed.", False)]
    kept = [bed for bed in view["beds"] if not drinks_by_itself(view, bed)]
    for bed in ordered(view):
        window = promised_s(view, bed) and likely_s(view["beds"][bed])
        if window is not None and bed not in kept and not runs(view["beds"][bed]):
            later = "" if usual_s(view["beds"][bed]) else later_words(view["beds"][bed])
            about = tongue.about(*window) + later
            return [(bed_name(bed), True), (" drinks next, ", False), (about, True), (".", False)]
    if garden_stop(view, tongue):
        until_s = min(stopped_until_s(view, bed) or 0.0 for bed in view["beds"])
        return [("No bed", True), (f" drinks by itself before {tongue.when(until_s)}.", False)]
    waits = [bed_name(bed) for bed in ordered(view) if waits_for_water(view["beds"][bed])]
    if waits:
        verb = " waits" if len(waits) == 1 else " wait"
        return [(listed(waits), True), (f"{verb} for water to be had.", False)]
    if kept:
        return [("No bed", True), (" drinks by itself now: see each bed.", False)]
    return [("No bed", True), (" is near its thirst line.", False)]


def todo(view: dict[str, Any], tongue: Tongue) -> str:
    """Is there anything to do, and how old is the last reading."""
    many = sum(1 for alert in alerts_to_show(view) if alert["person_needed"])
    read_s = utc_s_of(view["last_reading_at"])
    read = "No reading yet." if read_s is None else f"Last reading {tongue.when(read_s)}."
    if asks(view):
        return f"It waits for a quarter of an hour, then it ends. {read}"
    if many:
        things = "One thing needs" if many == 1 else f"{many} things need"
        return f"{things} you, see below. {read}"
    if not view["link_up"]:
        return f"Open valves close by themselves. If it lasts, look at the network. {read}"
    if view["holds"]["locked"]:
        return f"Unlock when the work is done. {read}"
    if unheard(view) and view["ready"]:
        return f"What is open closes by itself. If this lasts, look at the node. {read}"
    if view["holds"]["paused_until"] is not None:
        return f"Paused by you. Water by hand if it gets hot. {read}"
    if garden_stop(view, tongue):
        return f"Stopped by a person. Let it go on when nothing speaks against it. {read}"
    if any(alert["code"] == "tank_low" for alert in view["alerts"]):
        return f"Fill the tank, and say so. {read}"
    if walk_now(view) is not None:
        return f"Go and look what gets wet; it asks you then. {read}"
    return f"Nothing for you to do. {read}"


def _demo_line(view: dict[str, Any]) -> str:
    speed = number(view["speed"]) or 1.0
    return f"demo: time runs {speed:g} times faster" if speed != 1.0 else ""


# -- one bed


def _card(desk: Desk, view: dict[str, Any], tongue: Tongue, bed: str, days: float) -> Card:
    state = view["beds"][bed]
    depletion, line = number(state["depletion_frac"]), number(state["thirst_line_frac"])
    shape = plant.posture(state["state"], depletion, line)
    name = bed_name(bed)
    from_utc_s = tongue.now_utc_s - days * DAY_S - strip.BEFORE_S
    rows = desk.history(bed, from_utc_s, tongue.now_utc_s)
    window = (None, None) if runs(state) else promised_s(view, bed) or (None, None)
    reach = left_words(state, tongue)
    ahead = Ahead(
        line_frac=line,
        from_utc_s=window[0],
        to_utc_s=window[1],
        later=later_words(state),
        words=reach,
        now_frac=depletion,
        running_l=number((state.get("watering") or {}).get("given_l")) or 0.0,
    )
    return Card(
        bed=bed,
        name=name,
        plant=plant.draw(shape),
        label=label_words(view, bed, shape),
        left=reach,
        next=next_words(view, bed, tongue),
        miss=felt.miss_words(state),
        scarce=turn_words(state, tongue),
        reason=bed_reason(view, bed, tongue),
        valve=valve_words(view, state, tongue),
        valve_was=valve_words(view, state, tongue, lost=True),
        is_open=state["valve"] in OPEN_VALVES,
        runs=runs(state),
        numbers=_number_rows(state, tongue),
        changes=changes(state, tongue),
        paused=bool(bed_pause(view, bed, tongue)),
        stopped=stopped_until_s(view, bed) is not None,
        strip=strip.draw(rows, ahead, tongue, days, name),
        last=_last_words(state, tongue),
    )


def _number_rows(state: dict[str, Any], tongue: Tongue) -> list[tuple[str, str]]:
    rows = []
    for key, raw in reason_numbers(state).items():
        value = number(raw)
        rows.append((named(key), "not known" if value is None else tongue.value(key, value)))
    drawn = drawn_words(state)
    if drawn:
        rows.append(("its line now", drawn))
    taw_l, spread = number(state.get("taw_l")), number(state.get("depletion_sd_frac"))
    if taw_l is not None:
        rows.append(("holds, when full", tongue.litres(taw_l)))
    if spread is not None and "spread_frac" not in state["reason"]["numbers"]:
        rows.append(("how sure: give or take", tongue.value("_frac", spread)))
    rows.append(("probes", QUALITY_WORDS.get(state["quality"], "not known")))
    rows += teachings.rows(state, tongue) + felt.rows(state, tongue)
    for name, probe in state.get("probes", {}).items():
        rows += [(f"probe {name}", tongue.said(str(flag["text"]))) for flag in probe["flags"]]
    if state.get("stage"):
        rows.append(("stage", str(state["stage"]).replace("_", " ")))
    if state.get("untried"):
        rows.append(("untried", f"lines of {', '.join(state['untried'])} are from a handbook"))
    return rows


def _last_words(state: dict[str, Any], tongue: Tongue) -> str:
    last = state.get("last_watering")
    at, litres = (utc_s_of(last["at"]), number(last["litres"])) if last else (None, None)
    if at is None or litres is None:
        return "not watered yet"
    return f"{tongue.when(at)}, {tongue.litres(litres)}"


def notice(tongue: Tongue, alert: dict[str, Any]) -> Notice:
    """An alert in words."""
    since = utc_s_of(alert["since"])
    return Notice(
        id=alert["id"],
        where=bed_name(alert["bed"]) if alert["bed"] else "",
        text=alert_text(alert, tongue),
        todo=advice(alert["code"]),
        since="" if since is None else tongue.when(since),
        person_needed=bool(alert["person_needed"]),
    )
