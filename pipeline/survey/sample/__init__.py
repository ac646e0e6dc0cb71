"""What the survey asks of the returns of one tile, in counts and sums that those of other tiles can be added to."""
