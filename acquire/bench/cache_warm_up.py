"""Solves the fault dictionary before a unit fails, in a thread, so that the bench never waits for it.

Likewise what the first unit of a batch, or of a spool, will be compared with.

Not for the dictionary itself (verdict/diagnose).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import structlog

from acquire.heart.batch_book import prepared
from acquire.pipeline import Pipeline
from acquire.verdict.diagnose import prepare

log = structlog.get_logger()

START_S = 20.0
"""A bench that has just started has enough to do, and its first unit has not failed yet; workshop choice."""

LOOK_S = 1.0
"""How often it is seen whether the bench has got another sheet; workshop choice."""


async def foresee(pipeline: Callable[[], Pipeline]) -> None:
    """Keep the dictionary of the present sheet solved, until cancelled.

    Args:
        pipeline: gives the heart of the bench as it is now.
    """
    solved, looked = None, None
    await asyncio.sleep(START_S)
    while True:
        heart = pipeline()
        if heart.place.sheet is not solved:
            solved = heart.place.sheet
            await _solved(prepare, solved, heart.place.purpose, heart.four_wire_below_ohm or 0.0)
        batch, below_ohm = heart.batches.batch, heart.four_wire_below_ohm or 0.0
        wanted = None if batch is None or batch.first_serial else (heart.place.sheet, batch.spools)
        if batch is not None and wanted is not None and wanted != looked:
            looked = wanted
            await _solved(prepared, batch, heart.place, heart.cards, four_wire_below_ohm=below_ohm)
        await asyncio.sleep(LOOK_S)


async def _solved(work: Callable[..., object], *given: object, **named: object) -> None:
    """Do it in a thread; a fault of ours there costs time later, never the bench."""
    try:
        await asyncio.to_thread(work, *given, **named)
    except Exception:  # whatever it is, it comes again where it can be told, when a unit needs the answer
        log.exception("foresight.fault")
