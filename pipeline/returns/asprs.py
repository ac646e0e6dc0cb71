"""Classes of returns by number: ASPRS LAS 1.4 R15, table 17 (point formats 6 to 10)."""

from __future__ import annotations

UNCLASSIFIED = 1
GROUND = 2
LOW_VEGETATION = 3
MEDIUM_VEGETATION = 4
HIGH_VEGETATION = 5
BUILDING = 6
LOW_NOISE = 7
WATER = 9
WIRE = 14
"""Conductors; the guard wires, towers and connectors of a power line have numbers of their own, which we do not use."""
BRIDGE = 17
HIGH_NOISE = 18
