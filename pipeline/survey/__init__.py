"""The survey: what lidar there is, and what can be found in it."""
