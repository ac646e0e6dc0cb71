"""What a small landform must stand out from: how uneven the ground usually is round about."""

from __future__ import annotations

CONTRAST_REACH_M = 100.0
"""Distance within which the usual unevenness is taken: farther than any small landform reaches (our choice)."""
LEAST_UNEVENNESS_M = 0.1
"""Unevenness that even ground shows in lidar, from the errors of the survey (ASPRS: RMSEz 0.1 m and better). Ground
that is more even counts as this uneven; without that, every ripple of a sports field would stand out."""
