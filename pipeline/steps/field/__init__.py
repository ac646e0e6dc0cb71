"""Steps of one field of the area: each draws a section of the map there."""
