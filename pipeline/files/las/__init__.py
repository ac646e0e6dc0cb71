"""Lidar tiles on disk: headers, points, and writing them back with their classes."""
