"""Boulders, from the returns on them."""
