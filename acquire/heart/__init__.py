"""What the pipeline calls for: the unit on the bench, the bench's duties, an eye on the readings."""
