"""How often a law is tried: by `make test` an eighth as often, and the same again each time. Not a test.

`make long` tries laws at full length, by chance.
"""

from __future__ import annotations

import os

from hypothesis import settings

RANDOM = bool(os.environ.get("STEADYOHM_RANDOM"))
"""Chance is asked for."""

USUAL = 100


def tries(examples=USUAL, **more):
    """Settings of a law that is tried so often where time does not matter."""
    return settings(max_examples=examples if RANDOM else max(examples // 8, 6), **more)
