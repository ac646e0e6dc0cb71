"""What is written for the forest: lists of places to look at and walks through them."""
