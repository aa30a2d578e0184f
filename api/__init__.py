"""The ways in for people and programs."""
