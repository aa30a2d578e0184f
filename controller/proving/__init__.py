"""Valves that are proved: the commissioning walk, and the master valve's weekly proof."""
