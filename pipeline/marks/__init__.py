"""What a mapper found on foot: read from whatever was carried along, kept, applied to the draft and learned from."""
