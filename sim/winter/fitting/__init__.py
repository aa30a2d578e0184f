"""A world fitted to what a garden's own probes and meters saw, and what-ifs played in it.

Needs numpy and scipy (extra `winter`); nothing that runs on the board imports it.
"""
