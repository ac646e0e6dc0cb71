"""Wet ground: marshes and springs, proposed from the shape of the ground."""
