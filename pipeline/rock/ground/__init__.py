"""Stony ground and bare rock."""
