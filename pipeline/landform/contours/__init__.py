"""Contours and how they are drawn."""
