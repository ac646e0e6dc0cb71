"""Many areas refreshed in one go: what came of each, in one order, as a table and as a page."""
