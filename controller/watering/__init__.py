"""From the state of a bed to water."""
