"""The durable record."""
