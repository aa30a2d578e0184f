"""Runs before everything else: every output off."""

from machine import Pin
from pins import OFF_LEVEL, VALVE_PINS

for number in VALVE_PINS:
    Pin(number, Pin.OUT, value=OFF_LEVEL)
