"""Cliffs, from the falls in the ground and the returns at their edge."""
