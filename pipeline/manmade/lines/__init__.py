"""Walls, fences, hedges and wires: thin lines that people built or planted."""
