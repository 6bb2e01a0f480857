"""Instruments read through Modbus registers. Needs pymodbus, an optional package."""
