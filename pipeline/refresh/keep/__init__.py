"""The map to go on with: what the mapper said stays as it is, the rest comes from the new draft."""
