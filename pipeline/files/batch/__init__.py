"""The list of areas to refresh."""
