"""ISOM section 3.4: open land, runnability, trees (yellow and green)."""
