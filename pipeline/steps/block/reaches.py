"""How far beyond a block its work looks, told from the constants of the methods; the halo of a block must be wider."""

from __future__ import annotations

from pipeline.rock.boulders.boulders import REACH_M as BOULDERS_REACH_M

LOOK_AROUND_M = BOULDERS_REACH_M
"""How far beyond a block its rasters and boulders look, in metres."""
