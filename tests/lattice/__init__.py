"""Tests of the raster toolbox."""
