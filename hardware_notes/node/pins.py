"""The output pins of a valve node, alone in a file so small that it cannot fail to load.

Choose pins that stay low, or as inputs, while the board starts, and put a resistor on each output
that holds the coil off meanwhile: between reset and the first line of `boot.py` nobody else does.
"""

VALVE_PINS = (16, 17, 18, 19, 21)  # in the order of VALVES in settings.py
OFF_LEVEL = 0
