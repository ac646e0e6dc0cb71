"""Every raster tool, once: the grid all cells lie on, and what is done with cells whatever they stand for.

Filling and means of what is known, windows, samples at places, larger cells, sums by cell, lines along strips, planes
through neighbours.
"""
