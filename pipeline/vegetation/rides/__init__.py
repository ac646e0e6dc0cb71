"""Rides: straight, narrow openings through forest."""
