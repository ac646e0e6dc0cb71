"""The finished draft as it is printed, measured against the least sizes and gaps of the norm."""
