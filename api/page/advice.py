"""What a person can do about each alert, in one or two plain sentences."""

from __future__ import annotations

ADVICE = {
    "probe_silent": "Look at the probe's battery and cable. The bed goes on by its balance.",
    "probe_suspect": "Look whether the probe still sits firm in the soil.",
    "bed_blind": "Mend a probe when you can. Until then it drinks less, by its balance.",
    "bed_waiting": "It waits longer than it should. Look at the reason beside the bed.",
    "valve_stuck_open": "Shut the tap by hand now. Clean or replace the valve, then lift this.",
    "valve_stuck_closed": "Look at the tap, the filter, and the valve's coil and cable.",
    "valve_silent": "Look at the power and the radio of the valve's node.",
    "burst": "Shut the tap by hand. Look for a split line or a pulled joint, then lift this.",
    "leak": "Water flows with every valve closed. Shut the tap and look along the pipes.",
    "meter_fault": "Look at the meter. Waterings go by time and rated flow until it counts again.",
    "link_lost": "Look at the broker and the network. Open valves close by themselves.",
    "other_controller": "Stop the other controller. Two must never share these valves.",
    "history_lost": "What was given today is not known. Lift this only if you know it was little.",
    "cannot_record": "Look at the disk of the board: full, worn or read-only.",
    "frost": "Too cold to water. Drain what may freeze.",
    "paused": "A pause is on. It ends by itself.",
    "node_contract": "Update the node: it speaks another version of the valve contract.",
    "garden_refused": "The changed garden file has a fault; the one before stays in force.",
}
OTHERWISE = "Read the sentence above and look at the bed."


def advice(code: str) -> str:
    """What to do about an alert of this code."""
    return ADVICE.get(code, OTHERWISE)
