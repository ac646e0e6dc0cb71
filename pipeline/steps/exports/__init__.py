"""Steps that write what a mapper asks for beside the draft: exports and backdrops."""
