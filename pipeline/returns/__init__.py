"""What points and terrain both stand on: the cloud of returns in memory, class numbers, triangulation."""
