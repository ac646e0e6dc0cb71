"""Walks of a chosen length through the places most worth a look, and how they are told."""
