"""Instrument drivers: bytes in, `Reading`s out. They know nothing of sheets, coils or verdicts."""
