"""Where one can run: open land, density of the running layer, rides."""
