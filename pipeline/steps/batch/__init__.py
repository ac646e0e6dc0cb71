"""Steps of a batch: what came of one area, and of all."""
