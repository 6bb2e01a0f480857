"""Byte channels: TCP, serial, VISA; and the sans-I/O framers. Not for the meaning of the bytes."""
