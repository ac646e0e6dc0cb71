"""Hours of fieldwork and of drawing, from what a draft holds."""
