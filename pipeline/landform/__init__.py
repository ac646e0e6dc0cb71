"""ISOM section 3.1: contours and landforms (brown)."""
