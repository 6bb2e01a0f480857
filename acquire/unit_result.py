"""A unit's result from its entries: the one place that says what a stay on the bench comes to. Pure."""
