"""What to take along on foot."""
