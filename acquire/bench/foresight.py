"""Solves the fault dictionary before the first unit fails, in a thread, so that the bench never waits for it.

Not for the dictionary itself (verdict/diagnose).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from acquire.pipeline import Pipeline
from acquire.verdict.diagnose import prepare

LOOK_S = 1.0
"""How often it is seen whether the bench has got another sheet; workshop choice."""


async def foresee(pipeline: Callable[[], Pipeline]) -> None:
    """Keep the dictionary of the present sheet solved, until cancelled.

    Args:
        pipeline: gives the heart of the bench as it is now.
    """
    solved = None
    while True:
        await asyncio.sleep(LOOK_S)  # first too: the bench has enough to do when it starts
        heart = pipeline()
        if heart.place.sheet is not solved:
            solved = heart.place.sheet
            await asyncio.to_thread(prepare, solved, heart.place.purpose, heart.four_wire_below_ohm or 0.0)
