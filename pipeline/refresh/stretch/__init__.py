"""A finished map laid beside lidar: how far off it is, and where it is stretched, from what both of them show."""
