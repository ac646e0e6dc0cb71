"""How thick the undergrowth is, how fast one runs through it, and whether leaves were out when it was seen."""
