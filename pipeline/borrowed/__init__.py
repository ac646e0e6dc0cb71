"""Features that other people mapped: which symbol they become, and how they are laid over what lidar shows."""
