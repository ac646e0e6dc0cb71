"""Exports and backdrops by the names that an area file asks for them with: what each becomes, what it is made from."""

from __future__ import annotations

FROM_DRAFT = {
    "styled": "draft_styled.gpkg",
    "geojson": "draft.geojson",
    "dxf": "draft.dxf",
    "shapefile": "draft_shapefile.zip",
    "gpx": "draft.gpx",
    "kmz": "draft.kmz",
}
"""Made from the features of the draft."""
FROM_SHEET = {"mbtiles": "map.mbtiles", "pmtiles": "map.pmtiles"}
"""Made from the picture of the sheet's map."""
FILES = FROM_DRAFT | FROM_SHEET

BARE_EARTH = "rasters/bare_earth.tif"
COUNTS = "work/counts"
"""Where the sums of intensity lie."""
BACKDROP_SOURCES = {
    "relief": BARE_EARTH,
    "relief_northwest": BARE_EARTH,
    "relief_northeast": BARE_EARTH,
    "relief_southwest": BARE_EARTH,
    "local_relief": BARE_EARTH,
    "slope": "rasters/slope.tif",
    "canopy": "rasters/canopy_height.tif",
    "understorey": "rasters/understorey.tif",
    "intensity": COUNTS,
}
"""Backdrop -> the raster it is made from, below the output folder."""
