"""What changed between two surveys of one place, told from the noise of either, and what that means for features."""
