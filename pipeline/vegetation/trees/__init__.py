"""Single trees, and trees in rows."""
