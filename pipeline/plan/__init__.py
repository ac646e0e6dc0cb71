"""All that is decided before a point is read."""
