"""Hours of each task: what is measured of the ground, the rates of the trade or of the club, what a draft saves."""
