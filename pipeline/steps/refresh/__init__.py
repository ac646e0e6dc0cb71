"""Steps of a refresh: an earlier run or map against a new draft."""
