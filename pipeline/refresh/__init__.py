"""New lidar over an earlier map: how the two lie to each other, what changed on the ground, and what stays."""
