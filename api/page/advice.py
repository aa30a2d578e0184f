"""What a person can do about each alert, and what lifting one does, in one or two plain sentences.

What to do stands in the one enumeration of alerts, `controller/alarming/codes.py`.
"""

from __future__ import annotations

from typing import Any

from api.page.words import bed_name
from controller.alarming.codes import ALERTS, AlertCode
from controller.alarming.codes import advice as advice

ADVICE = {code.value: rule.advice for code, rule in ALERTS.items()}
LIFTED = {
    AlertCode.BURST: "Once lifted, water may flow through these pipes again.",
    AlertCode.LEAK: "Once lifted, valves may open again. If water still runs with every valve "
    "closed, this comes back.",
    AlertCode.PRESSURE_HIGH: "Once lifted, valves may open again. If the pressure is still too "
    "high, this comes back.",
    AlertCode.VALVE_STUCK_OPEN: "Once lifted, water may flow through this valve again.",
    AlertCode.NODE_CONTRACT: "Once lifted, this valve may open again. If its node still speaks "
    "another contract, this comes back.",
    AlertCode.CRASH_LOOP: "Once lifted, water may flow again where this kept it away.",
    AlertCode.MASTER_FAILED: "Once lifted, every bed may drink again, with the master valve as "
    "its guard.",
    AlertCode.HISTORY_LOST: "Once lifted, the limits of the day count as unspent, and beds may "
    "drink today.",
    AlertCode.PROBE_SUSPECT: "Nothing was kept shut for this. Once lifted, the probe counts again.",
    AlertCode.PROBES_SWAPPED: "Once lifted, both beds water by themselves again, each by its own "
    "probes.",
}
RESTART = "Lifting this changes nothing. It ends with a restart, once the other controller is gone."
NOT_LIFTED = "This ends by itself once its cause is gone. Lifting it changes nothing."


def lifted(alert: dict[str, Any]) -> str:
    """What lifting this alert does, in a sentence or two.

    Args:
        alert: as the view tells it.
    """
    code = alert["code"]
    if code == AlertCode.PROBE_SUSPECT:
        if not alert["person_needed"]:
            return NOT_LIFTED
        goes_on = f"{bed_name(alert['bed'])} goes on meanwhile. " if alert["bed"] else ""
        return goes_on + LIFTED[AlertCode.PROBE_SUSPECT]
    if code == AlertCode.OTHER_CONTROLLER:
        return RESTART
    return LIFTED.get(code, NOT_LIFTED)
