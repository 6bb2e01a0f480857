"""Barcode scanners: who is on the bench, not what it measures."""
