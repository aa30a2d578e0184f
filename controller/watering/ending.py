"""What ends a reason that no amount of rain or thirst turns: a sentence for each.

Every reason that is no yes and does not turn by numbers has its row here; a test walks them all.
"""

from __future__ import annotations

from typing import Final

from controller.watering.decision import Reason

ENDS: Final[dict[Reason, str]] = {
    Reason.NOT_ARMED: "This ends when the valve has been walked: run thirstline walk.",
    Reason.PROVING: "This ends by itself when the walk or the proof does, within minutes.",
    Reason.LOCKED: "This ends when a person unlocks.",
    Reason.OTHER_CONTROLLER: "This ends with the other controller off and this one started anew.",
    Reason.CANNOT_RECORD: "This ends by itself once the disk takes a row again: tried often.",
    Reason.LINK_LOST: "This ends by itself when the broker answers and readings come in again.",
    Reason.QUIET_START: "This ends by itself, a few minutes after the start.",
    Reason.VALVE_LATCHED: "This ends when a person clears the alert, once the cause is found.",
    Reason.NOT_PLANTED: "This ends on the day of planting that the garden file tells.",
    Reason.CLEARED: "This ends with a new planting in the garden file.",
    Reason.PAUSED: "This ends when the pause does, or when a person ends it before.",
    Reason.STOPPED: "This ends six hours after the stop. By hand it can be watered before.",
    Reason.FROST: "This ends when air and soil are above 2 °C and the frost months are over.",
    Reason.SUPPLY_LOST: "This ends when water comes again: it is tried within two hours.",
    Reason.NO_WATER_DAY: "This ends when a day begins on which water may run.",
    Reason.PROBES_SWAPPED: "This ends with probes or valves put right and the alert cleared.",
    Reason.WAITING_READINGS: (
        "This ends with the next readings; after three of their usual times without one it goes on "
        "without them."
    ),
    Reason.UNKNOWN_STATE: "This ends when all its numbers are there again. Look at the alerts.",
    Reason.WET: "This ends when its probes read drier than field capacity.",
    Reason.BLIND_UNSOUND: "This ends when a probe speaks, or valve and meter are sound again.",
    Reason.WATERED_TONIGHT: "It has had its watering; in the next night it is judged again.",
    Reason.MISSED: "This ends with this turn, or when the miss is taken back.",
    Reason.WEEK_SPENT: "This ends when older water leaves the week, day by day.",
    Reason.TANK_LOW: "This ends when the tank is filled, and that is said.",
    Reason.RAINING: "This ends when the rain does; then it is judged again.",
    Reason.FLOOR_UNSURE: (
        "This ends with its next hours, those right after a refill left out, or once it is past "
        "its floor for sure: by its books too, or by more than its probes may be wrong."
    ),
    Reason.OUTSIDE_HOURS: "This ends when the hours begin.",
    Reason.CAP_SPENT: "This ends as the water of the last 24 hours grows older than that.",
    Reason.NIGHT_SHORT: "This ends with this night: in the next it comes first.",
    Reason.NIGHT_OVER: "This ends with the next hours.",
}
