"""What a person can do about each alert, in one or two plain sentences."""

from __future__ import annotations

ADVICE = {
    "probe_silent": "Look at the probe's battery and cable. The bed goes on by its balance.",
    "probe_suspect": "Look whether the probe still sits firm in the soil.",
    "probe_unit": "The probe speaks another unit than before. Compare it with the garden file.",
    "probes_swapped": "Follow the cables: a watering here moved another bed's probe.",
    "bed_blind": "Mend a probe when you can. Until then it drinks less, by its balance.",
    "bed_waiting": "It waits longer than it should. Look at the reason beside the bed.",
    "valve_stuck_open": "Shut the tap by hand now. Clean or replace the valve, then lift this.",
    "valve_stuck_closed": "Look at the valve's coil, cable and filter, then lift this.",
    "valve_silent": "Look at the power and the radio of the valve's node.",
    "burst": "Shut the tap by hand. Look for a split line or a pulled joint, then lift this.",
    "leak": "Water flows with every valve closed. Shut the tap and look along the pipes.",
    "meter_fault": "Look at the meter. Waterings go by time and rated flow until it counts again.",
    "supply_lost": "No water arrives. Look at the tap, the tank and the pump.",
    "link_lost": "Look at the broker and the network. Open valves close by themselves.",
    "other_controller": "Stop the other controller. Two must never share these valves.",
    "history_lost": "What was given today is not known. Lift this only if you know it was little.",
    "cannot_record": "Look at the disk of the board: full, worn or read-only.",
    "clock_unsynced": "The board's clock is not set. Give it network time or a clock chip.",
    "frost": "Too cold to water. Drain what may freeze.",
    "paused": "A pause is on. It ends by itself.",
    "crash_loop": "The daemon fell over again and again. Keep its log and report it.",
    "not_armed": "Walk the valves once with the command `thirstline walk`.",
    "node_contract": "Update the node: it speaks another version of the valve contract.",
    "garden_refused": "The changed garden file has a fault; the one before stays in force.",
}
OTHERWISE = "Read the sentence above and look at the bed."


def advice(code: str) -> str:
    """What to do about an alert of this code."""
    return ADVICE.get(code, OTHERWISE)
