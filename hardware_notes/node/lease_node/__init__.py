"""A node that obeys the lease contract: pure machines, a thin MQTT layer, a thin board layer."""
