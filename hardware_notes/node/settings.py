"""One node's own settings. Copy, change, keep the words to yourself."""

ROLE = "valves"  # or "probe"

NETWORK = "garden"
NETWORK_KEY = "change me"
BROKER = ("192.0.2.10", 1883)  # a numeric address: this one is from the range for examples
USER = "box"  # at the broker, for this node alone
PASSWORD = "change me"  # noqa: S105
ROOT = "thirstline/hollin-lane"
CLIENT = "box-1"  # no two nodes alike

# -- a valve node; its output pins stand in pins.py
VALVES = ("south", "wall", "low", "hedge", "master")
METER = "main"  # "" for none
METER_PIN = 34
BEAT_PIN = None  # where the coil drive wants a signal that toggles

# -- a probe node
PROBE_TOPIC = "plot/a1/soil"
PROBES = (("shallow", 32), ("deep", 33))
PROBE_POWER_PIN = 25
BATTERY_PIN = 35
BATTERY_PARTS = 2000  # a divider of two equal resistors
BATTERY_STOP_MV = 3300
EVERY_S = 600
