"""Every alert that there is: what raises it, what ends it, what to do, and when people are told.

The one enumeration of alert codes. The README's table, the page's advice and what goes out by mail
or command follow from it. Pure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

DAY_S = 86_400.0
OTHERWISE = "Read the sentence above and look at the bed."


class AtNight(StrEnum):
    """Whether an alert is told in the quiet hours."""

    WAITS = "waits"  # the morning is early enough
    GROWING = "growing"  # told while a bed has plants in it
    ALWAYS = "always"


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertRule:
    """One alert in words.

    `raised_by` and `ended_by` are the README's cells. `reminds`: told again each day while it
    stands, as is every alert that needs a person. `first_after_s`: it has to stand so long [s]
    before it is told out of the house; the page and MQTT have it at once.
    """

    title: str
    raised_by: str
    ended_by: str
    advice: str
    at_night: AtNight = AtNight.WAITS
    reminds: bool = False
    first_after_s: float = 0.0


class AlertCode(StrEnum):
    """Every alert that there is."""

    BURST = "burst"
    LEAK = "leak"
    PRESSURE_HIGH = "pressure_high"
    VALVE_STUCK_OPEN = "valve_stuck_open"
    NODE_CONTRACT = "node_contract"
    HISTORY_LOST = "history_lost"
    OTHER_CONTROLLER = "other_controller"
    BROKER_OPEN = "broker_open"
    CANNOT_RECORD = "cannot_record"
    LINK_LOST = "link_lost"
    CRASH_LOOP = "crash_loop"
    STUMBLED = "stumbled"
    VALVE_SILENT = "valve_silent"
    VALVE_STUCK_CLOSED = "valve_stuck_closed"
    SUPPLY_LOST = "supply_lost"
    METER_FAULT = "meter_fault"
    PROBE_SILENT = "probe_silent"
    PROBE_SUSPECT = "probe_suspect"
    MAST_SILENT = "mast_silent"
    BED_WAITING = "bed_waiting"
    FROST = "frost"
    CLOCK_UNSYNCED = "clock_unsynced"
    BED_BLIND = "bed_blind"
    PROBES_SWAPPED = "probes_swapped"
    TANK_LOW = "tank_low"
    PAUSED = "paused"
    GARDEN_REFUSED = "garden_refused"
    ALARM_FAILED = "alarm_failed"
    NOT_ARMED = "not_armed"
    MASTER_FAILED = "master_failed"
    PROOF_OVERDUE = "proof_overdue"
    FLOW_LOW = "flow_low"
    FLOW_ASKED = "flow_asked"
    WALK_STALE = "walk_stale"


ALERTS: Mapping[AlertCode, AlertRule] = {
    AlertCode.BURST: AlertRule(
        title="a pipe may have burst",
        raised_by="above 1.6 times what the open beds take over 10 s and three pulses, or above "
        "1.3 times over a minute and 16 pulses, by the meter's own clock (half as much more in "
        "a bed's first dose after a frost), a minute after the last valve edge. Closes all",
        ended_by="a person",
        advice="Shut the tap by hand. Look for a split line or a pulled joint, then lift this.",
        at_night=AtNight.ALWAYS,
    ),
    AlertCode.LEAK: AlertRule(
        title="water runs with every valve closed",
        raised_by="more than 0.1 L/min with every valve closed, for a minute and three pulses. "
        "Closes all",
        ended_by="a person",
        advice="Water flows with every valve closed. Shut the tap and look along the pipes.",
        at_night=AtNight.ALWAYS,
    ),
    AlertCode.PRESSURE_HIGH: AlertRule(
        title="too much pressure in the pipe",
        raised_by="the meter's node tells of more than 1.5 times `[supply] pressure_kpa`, twice in "
        "a row. Closes all",
        ended_by="a person",
        advice="Shut the tap by hand, let the pressure off at a flush end and look at the "
        "regulator. Then lift this.",
    ),
    AlertCode.VALVE_STUCK_OPEN: AlertRule(
        title="a valve is stuck open",
        raised_by="flow goes on after a bed closed, while the master is still open; or beside "
        "others that drink the flow does not fall by half of what the closed bed took, and goes on "
        "once they are closed too, or nobody can tell. Closes all",
        ended_by="a person, per bed",
        advice="Shut the tap by hand now. Clean or replace the valve, then lift this.",
        at_night=AtNight.ALWAYS,
    ),
    AlertCode.NODE_CONTRACT: AlertRule(
        title="a valve node is at fault",
        raised_by="a valve node speaks another contract than 1, or tells of a run that there "
        "cannot have been. Never opened",
        ended_by="a person",
        advice="Update the node, or reset what it keeps: the sentence above says which.",
    ),
    AlertCode.HISTORY_LOST: AlertRule(
        title="the record of the water is lost",
        raised_by="the record is missing, damaged or older than the nodes remember. No water for a "
        "day",
        ended_by="a person, who vouches that the budget is not spent",
        advice="What was given today is not known. Lift this only if you know it was little.",
    ),
    AlertCode.OTHER_CONTROLLER: AlertRule(
        title="another controller is at these valves",
        raised_by="another controller, or a node that obeys one. Nothing opens",
        ended_by="a restart, once the other is gone",
        advice="Stop the other controller. Two must never share these valves.",
    ),
    AlertCode.BROKER_OPEN: AlertRule(
        title="anybody on the network may write to the valves' topics",
        raised_by="a minute after the start and once a day: a client without account or password "
        "got an empty word through to a valve's lease topic. Watering goes on: a node opens only "
        "on a nonce of its own",
        ended_by="the broker refuses it",
        advice="Give the broker accounts and rights: only the controller may write commands.",
    ),
    AlertCode.CANNOT_RECORD: AlertRule(
        title="nothing can be recorded, so nothing is watered",
        raised_by="the record cannot be written, or not opened at the start. Nothing opens",
        ended_by="the disk works again",
        advice="Look at the disk of the board: full, worn or read-only.",
        reminds=True,
    ),
    AlertCode.LINK_LOST: AlertRule(
        title="no contact with the broker, so nothing is watered",
        raised_by="no connection to the broker, or our own sign of life stayed away for 45 s. "
        "Nothing opens",
        ended_by="contact",
        advice="Look at the broker and the network. Open valves close by themselves.",
        reminds=True,
        first_after_s=60.0,
    ),
    AlertCode.CRASH_LOOP: AlertRule(
        title="the controller crashed again and again, so nothing is watered",
        raised_by="three crashes within doses of one bed: that bed. Five starts in ten minutes "
        "after ends that were none, or three stumbles of the engine: the whole garden. Nothing "
        "opens; page and alarms go on",
        ended_by="a person; the garden's also an hour of sound running",
        advice="Look at the board's power and at the log. Pour by hand if plants need it, and lift "
        "this once the cause is found.",
        reminds=True,
    ),
    AlertCode.STUMBLED: AlertRule(
        title="the controller stumbled and closed every valve",
        raised_by="the engine fell over a message; every valve was closed",
        ended_by="an hour without another",
        advice="Keep the log: it names the fault. Watering goes on unless this comes again.",
    ),
    AlertCode.VALVE_SILENT: AlertRule(
        title="a valve does not answer",
        raised_by="a node did not answer an opening within 10 s, or a close within 140 s, or told "
        "nothing for 75 s while it was open: the dose ends there",
        ended_by="it closes with proof after an opening, or speaks again after two minutes' "
        "silence; the master: its word that it is open",
        advice="Look at the power and the radio of the valve's node.",
        reminds=True,
    ),
    AlertCode.VALVE_STUCK_CLOSED: AlertRule(
        title="a valve gives no water",
        raised_by="a valve opened and the meter did not turn within a minute. Tried again after "
        "30 min, three times at most",
        ended_by="the valve gives water",
        advice="Look at the tap, the filter, and the valve's coil and cable.",
        reminds=True,
    ),
    AlertCode.SUPPLY_LOST: AlertRule(
        title="the water supply is gone",
        raised_by="the meter did not turn in two beds, one after the other; or its node told twice "
        "in a row of less than half of `[supply] pressure_kpa` while water ran. Nothing opens by "
        "itself for half an hour, then it is tried again; each dry try doubles the "
        "wait, up to two hours",
        ended_by="water flows, with pressure",
        advice="Look at the tap, the tank and the filter. It is tried again by itself.",
        reminds=True,
    ),
    AlertCode.METER_FAULT: AlertRule(
        title="the meter is at fault",
        raised_by="the meter's total went backwards, or jumped by more than the supply can give; "
        "it said nothing for 150 s while water should run, or for 14 minutes at any time; or it "
        "counted nothing while a probe felt the one trial by time that follows two dry beds. "
        "Waterings go by time; the last two are charged in full",
        ended_by="it counts on",
        advice="Look at the meter. Waterings go by time and rated flow until it counts again.",
    ),
    AlertCode.PROBE_SILENT: AlertRule(
        title="a probe is silent",
        raised_by="three intervals without a word, at least 15 min",
        ended_by="a word of it",
        advice="Look at the probe's battery and cable. The bed goes on by its balance.",
    ),
    AlertCode.PROBE_SUSPECT: AlertRule(
        title="a probe is in doubt",
        raised_by="a flag of the table below that costs a probe trust; it says the gravest",
        ended_by="the flag ends; where its row says so, a person",
        advice="Look at it when you are there; the bed goes on by what else it has.",
    ),
    AlertCode.MAST_SILENT: AlertRule(
        title="the weather mast is silent",
        raised_by="a mast of the garden file says nothing for two hours, the link being up: as "
        "long as its last word counts. Beds go on by the outlook, the last days or the month",
        ended_by="a word of it",
        advice="Look at the mast's power and radio. Until it speaks its rain and frost are not "
        "seen: before a cold night, pause the garden by hand.",
        reminds=True,
    ),
    AlertCode.BED_WAITING: AlertRule(
        title="a bed is dry and gets no water",
        raised_by="six hours past its floor (a day while that is unsure) and no water, whatever "
        "the reason (seven where it is granted at that moment); or it was to drink, its hours are "
        "over and six hours went by",
        ended_by="water, or it is no longer to drink",
        advice="It waits longer than it should. Look at the reason beside the bed.",
        reminds=True,
    ),
    AlertCode.FROST: AlertRule(
        title="frost",
        raised_by="below 2 °C by the mast, or the frost months; below 2 °C in a bed's soil by one "
        "of its probes, unless the air kept above 8 °C for a day: that bed",
        ended_by="warmer",
        advice="Too cold to water. Drain what may freeze.",
        at_night=AtNight.GROWING,
    ),
    AlertCode.CLOCK_UNSYNCED: AlertRule(
        title="the clock is not set",
        raised_by="the system says that nobody has set its clock. The hours do not hold: beds are "
        "judged by their soil, once in 24 hours each; weekdays hold by the doubtful date",
        ended_by="the clock is set",
        advice="Give the board a network for its time service, or a clock chip with a battery.",
        reminds=True,
        first_after_s=600.0,
    ),
    AlertCode.BED_BLIND: AlertRule(
        title="a bed has no probe to go by",
        raised_by="none of a bed's probes speaks",
        ended_by="one speaks",
        advice="Mend a probe when you can. Until then it drinks less, by its balance.",
        reminds=True,
    ),
    AlertCode.PROBES_SWAPPED: AlertRule(
        title="probes are swapped",
        raised_by="probes of one bed that do not answer its dose while another bed's do, twice "
        "(two probes at one dose, or two doses), or two probes of dry beds that "
        "exchange their levels within two hours. Both beds wait",
        ended_by="a person; one lifting does for both",
        advice="Water one bed by hand, see whose probe answers, put it right, lift this.",
    ),
    AlertCode.TANK_LOW: AlertRule(
        title="the tank is low",
        raised_by="the tank, by its count, holds less than the next watering takes",
        ended_by="the tank is told to be filled",
        advice="Fill the tank, then say so on the page: it is counted, not measured.",
        reminds=True,
    ),
    AlertCode.PAUSED: AlertRule(
        title="a pause is on",
        raised_by="a pause by a person; called anew each day while a bed that grows is kept dry "
        "by it",
        ended_by="its end",
        advice="A pause is on. It ends by itself.",
        reminds=True,
        first_after_s=DAY_S,
    ),
    AlertCode.GARDEN_REFUSED: AlertRule(
        title="the new garden file is refused",
        raised_by="the changed garden file has a fault",
        ended_by="a file without one",
        advice="The changed garden file has a fault; the one before stays in force.",
    ),
    AlertCode.ALARM_FAILED: AlertRule(
        title="alarms do not get out",
        raised_by="a mail or the command of `[alarm]` failed twice in a row, or once for a cause "
        "that waiting does not mend; one alert a way, told by the other ways",
        ended_by="the next one that gets out, or the way taken out of the garden file",
        advice="Look at [alarm] in the garden file, then press the test on the page.",
        reminds=True,
    ),
    AlertCode.NOT_ARMED: AlertRule(
        title="valves are not armed",
        raised_by="a real garden's valve was not walked, or the walk refused it, or nobody said "
        "which backflow device is fitted. It stays shut",
        ended_by="the walk",
        advice="Walk the garden: thirstline walk GARDEN. It takes about three minutes a valve.",
        reminds=True,
    ),
    AlertCode.WALK_STALE: AlertRule(
        title="the walk is of last year",
        raised_by="a bed with a new planting whose valve was walked 120 days or more before it. "
        "It stays armed",
        ended_by="another walk of that bed",
        advice="Frost splits lines. With somebody watching: thirstline walk GARDEN --bed BED.",
    ),
    AlertCode.MASTER_FAILED: AlertRule(
        title="the master valve does not close",
        raised_by="the weekly proof: water flowed through a bed while the master was shut. "
        "Closes all",
        ended_by="a person",
        advice="Shut the tap by hand. Clean or replace the master valve, then lift this.",
        at_night=AtNight.ALWAYS,
    ),
    AlertCode.PROOF_OVERDUE: AlertRule(
        title="the master valve was not proved",
        raised_by="15 days without a weekly proof that found the master valve sound",
        ended_by="one that does",
        advice="It could not be tried at night. The log says what came between.",
    ),
    AlertCode.FLOW_LOW: AlertRule(
        title="a bed takes less water than it did",
        raised_by="three waterings or more whose flow tends below 85 % of what the walk measured",
        ended_by="90 % again, or another walk",
        advice="Clean the filter and flush the lines of that bed, then walk it again.",
    ),
    AlertCode.FLOW_ASKED: AlertRule(
        title="water flows that nobody announced",
        raised_by="with `[supply] shared`, or past the end of an announced hose: flow as of a leak "
        "while no bed valve that closed within ten minutes can be its cause",
        ended_by="an answer: *that was me*, or *nobody*, which makes it a leak; or the meter "
        "stands for a minute. Past an announcement, where the water is not shared, it is a leak "
        "after a quarter of an hour without an answer",
        advice="Say on the page whether it was you. If it was nobody, shut the tap and look.",
        at_night=AtNight.ALWAYS,
        reminds=True,
        first_after_s=300.0,
    ),
}


def rule_of(code: str) -> AlertRule | None:
    """The rule of an alert by its code; None for a code that another version knew."""
    try:
        return ALERTS[AlertCode(code)]
    except ValueError:
        return None


def title_of(code: str) -> str:
    """An alert in few words; the code's own for one that another version knew."""
    rule = rule_of(code)
    return code.replace("_", " ") if rule is None else rule.title


def advice(code: str) -> str:
    """What to do about an alert of this code."""
    rule = rule_of(code)
    return OTHERWISE if rule is None else rule.advice
