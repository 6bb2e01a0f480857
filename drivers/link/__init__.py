"""Byte channels: TCP, serial ports, VISA resources, and a recorder."""
