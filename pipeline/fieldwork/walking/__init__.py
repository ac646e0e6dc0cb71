"""How long it takes a mapper to walk from one place to another, and where the car may stand."""
