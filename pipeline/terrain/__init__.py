"""Grids made from returns: bare earth, relief, return profiles."""
