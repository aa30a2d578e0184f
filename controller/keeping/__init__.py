"""Keeping a board for years: backups and the way back, and the board's own checks."""
