"""Earlier maps on disk, and the files that a refresh writes, each of which can be undone."""
