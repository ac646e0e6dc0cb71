"""Exports on disk."""
