"""Feature by feature: which one of the new map is which one of the old, and what became of it."""
