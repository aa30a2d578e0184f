"""The science: pure functions of plain floats, units in their names, a source beside each."""
