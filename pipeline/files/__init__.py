"""The only room that opens files: tiles, rasters, layers; every write is atomic."""
