"""Steps: each reads files, calls pure functions and writes files. One a rule; its signature is its command line."""
