"""Statistics of batches and of gauge studies: charts, capability, shares, drift. Numbers in, records out."""

CONFIDENCE = 0.95
"""Of every interval."""
