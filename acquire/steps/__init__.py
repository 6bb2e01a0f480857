"""Settled -> Match: which pins, which step?"""
