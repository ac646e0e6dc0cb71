"""What every file on disk needs: whole or not at all, and a folder for one run at a time."""
