"""What the command tells a mapper beside the draft itself: an area file to start from, and how a draft ended."""
