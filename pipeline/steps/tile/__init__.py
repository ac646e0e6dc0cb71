"""Steps of one input tile."""
