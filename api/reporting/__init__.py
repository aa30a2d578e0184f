"""One page for a replay or a sweep: opens from a file, prints, fetches nothing."""
