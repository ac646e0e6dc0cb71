"""Tests of what points and terrain both stand on."""
