"""Returns: noise, ground, ASPRS classes."""
