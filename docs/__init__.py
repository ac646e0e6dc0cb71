"""Pages, pictures and the programs that make them."""
