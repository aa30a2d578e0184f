"""From bytes to the state of a bed."""
