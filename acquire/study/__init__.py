"""Gauge studies at the bench: the plan, the guided run, its record, and the report."""
