"""The season book: what was picked, and what a season's water came to."""
