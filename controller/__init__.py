"""The daemon's brain and hands: no web, no simulator."""
