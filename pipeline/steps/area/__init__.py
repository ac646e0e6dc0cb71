"""Steps of the whole area."""
