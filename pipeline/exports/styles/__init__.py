"""How each symbol looks in a GIS: drawn by the sheet's own code, written as OGC style (SLD) and as QML."""
