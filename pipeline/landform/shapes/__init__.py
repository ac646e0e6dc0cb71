"""Landforms with a symbol of their own: knolls, hollows, banks, gullies, broken ground."""
