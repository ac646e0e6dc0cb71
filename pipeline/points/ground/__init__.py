"""The ground filter: which returns came from the bare earth."""
