"""An earlier map understood, whoever drew it: its numbers, its geometry, which of it is the mapper's word."""
