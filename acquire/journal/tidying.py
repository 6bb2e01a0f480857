"""Looks from time to time whether the journal has grown too large, and lets old entries move to the archive.

A task of the daemon; it never holds up commits for longer than one small step takes. Not for what may move
(archive).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Sequence

import structlog

from acquire.errors import JournalUnusable
from acquire.journal.archive import Policy
from acquire.journal.store import Journal

log = structlog.get_logger()


async def keep_small(
    journal: Journal,
    outlets: Sequence[str],
    stop: asyncio.Event,
    *,
    policy: Policy | None = None,
    every_s: float = 600.0,
    pause_s: float = 0.1,
) -> None:
    """Keep the journal's file below its limit until `stop` is set.

    Args:
        journal: open.
        outlets: names of all cursors that must have passed an entry before it moves.
        stop: ends this at once.
        policy: when entries move.
        every_s: between two looks.
        pause_s: between two steps, for the commits that wait.
    """
    while not stop.is_set():
        moved, wait_s = 0, every_s
        try:
            moved = await journal.archive(outlets, policy)
        except JournalUnusable as error:
            log.warning("journal.not_archived", error=str(error))
        if moved:
            log.info("journal.archived", entries=moved)
            wait_s = pause_s
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(stop.wait(), wait_s)
