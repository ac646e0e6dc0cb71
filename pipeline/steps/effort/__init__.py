"""Steps of the estimate of hours."""
