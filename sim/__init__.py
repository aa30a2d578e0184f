"""A garden that does not exist: weather, soil, plants, nodes."""
