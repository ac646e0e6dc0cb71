"""Outlines: lines and areas made from cells, simplified square by square, and cut at the edges of fields."""
