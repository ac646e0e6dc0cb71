"""Stands of trees: how high they are, where two of them meet, and where one was felled."""
