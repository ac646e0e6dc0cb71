"""Paper: its size and place, colours, ink, and the PDF it is written to."""
