"""What was handed to us: tiles, coordinate systems, and when leaves were out."""
