"""ISOM section 3.2: boulders, cliffs, stony ground (black)."""
