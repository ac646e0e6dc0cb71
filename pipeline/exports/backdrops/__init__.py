"""Pictures of the ground to lay under a drawing: relief, slope, growth, brightness."""
