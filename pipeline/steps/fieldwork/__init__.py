"""Steps that plan the work on foot."""
