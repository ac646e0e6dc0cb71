"""The page to show and to carry: one file with the draft as a map, its evidence, and what is known of its quality."""
