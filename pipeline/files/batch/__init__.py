"""The list of areas to refresh, and what tells whether one of them is done."""
