"""Steps of one working block."""
