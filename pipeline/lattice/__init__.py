"""Every raster tool, once: the grid all cells lie on, windows, sums over cells, lines along crests."""
