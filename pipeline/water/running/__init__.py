"""Running water, from the shape of the ground."""
