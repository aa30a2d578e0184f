"""Alarms out of the house: every alert there is, what is told of it when, and the ways out."""
