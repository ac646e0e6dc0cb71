"""The printed sheet: magnetic north, page, drawing."""
