"""Composing the draft: symbols, collisions, identity."""
