"""What a winter's evening on a larger computer is for: an exact soil to judge the fast one by.

Needs numpy and scipy (extra `winter`); nothing that runs on the board imports it.
"""
