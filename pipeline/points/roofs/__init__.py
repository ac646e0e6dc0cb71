"""Roofs among the returns."""
