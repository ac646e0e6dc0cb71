"""Filters over whole grids, compiled: what SciPy's give, bit by bit, in a fraction of the time."""
