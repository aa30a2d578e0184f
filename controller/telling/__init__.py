"""What people tell the whole garden: other water that is about to flow, and who may come in."""
