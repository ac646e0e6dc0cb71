"""ISOM section 3.3: water (blue)."""
