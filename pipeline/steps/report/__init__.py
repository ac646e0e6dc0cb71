"""The step that puts the page together."""
