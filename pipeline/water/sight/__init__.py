"""What is known of the ground, read by windows."""
