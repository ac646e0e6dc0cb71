"""The numbers by which lidar files name what a return came back from.

Source
------
ASPRS LAS 1.4 R15, table 17 (point formats 6 to 10); table 9 (older formats) gives 0 to 9 the same meaning but calls 8
key points and 12 overlap.
"""

from __future__ import annotations

NEVER_CLASSIFIED = 0
UNCLASSIFIED = 1
GROUND = 2
LOW_VEGETATION = 3
MEDIUM_VEGETATION = 4
HIGH_VEGETATION = 5
BUILDING = 6
LOW_NOISE = 7
KEY_POINT = 8
WATER = 9
RAIL = 10
ROAD = 11
OVERLAP = 12
WIRE_GUARD = 13
WIRE = 14
"""Wires that carry current; this program does not tell the others from them."""
TOWER = 15
WIRE_CONNECTOR = 16
BRIDGE = 17
HIGH_NOISE = 18
OVERHEAD_STRUCTURE = 19
IGNORED_GROUND = 20

VEGETATION = (LOW_VEGETATION, MEDIUM_VEGETATION, HIGH_VEGETATION)
NOISE = (LOW_NOISE, HIGH_NOISE)
