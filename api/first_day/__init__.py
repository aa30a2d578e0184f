"""The first day: from a few answers to a garden file. Only `listening` and the command do I/O."""
