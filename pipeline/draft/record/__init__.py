"""What became of features that are not drawn as they were found."""
