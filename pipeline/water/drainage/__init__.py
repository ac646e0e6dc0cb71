"""Drainage: where water runs over the ground, through banks and into sinks."""
