"""The rules of the workflow, one file by what is looped over; no Python modules."""
