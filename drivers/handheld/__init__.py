"""Meters that send text or frames by themselves."""
