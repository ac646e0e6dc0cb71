"""Lines of landforms measured piece by piece, so that what is drawn does not depend on where a line begins."""
