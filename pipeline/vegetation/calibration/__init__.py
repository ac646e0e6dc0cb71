"""Band limits fitted to a mapper's notes."""
