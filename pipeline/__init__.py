"""Tussock: from lidar tiles to the layered draft of an orienteering map."""
