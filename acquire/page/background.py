"""Work that blocks, away from the loop, in threads that hold up no stop. Not for writing."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Awaitable, Callable
from typing import TypeVar

T = TypeVar("T")

PATIENCE_S = 30.0
"""Longest time that somebody waits for an answer."""


class Background:
    """A place for questions to the disk; two at a time, the others wait."""

    def __init__(self) -> None:
        """Nothing runs yet."""
        self._turns = asyncio.Semaphore(2)

    def asked(self, read: Callable[[dict[str, str]], T]) -> Callable[[dict[str, str]], Awaitable[T]]:
        """A question that blocks, as one that does not."""
        return lambda words: self.ask(lambda: read(words))

    async def ask(self, work: Callable[[], T]) -> T:
        """Do some work in a thread of its own and give what it gave.

        The thread is left to itself when the process ends: a report must not hold up a stop.

        Raises:
            TimeoutError: it takes too long.
            BaseException: whatever the work raised.
        """
        async with asyncio.timeout(PATIENCE_S):
            await self._turns.acquire()
            loop = asyncio.get_running_loop()
            answer: asyncio.Future[T] = loop.create_future()

            def settle(deed: Callable[[], None]) -> None:
                self._turns.release()  # only now: work that nobody waits for any more still takes a processor
                if not answer.done():
                    deed()

            def run() -> None:
                try:
                    value = work()
                except BaseException as error:  # noqa: BLE001  (handed on to whoever asked)
                    told = error
                    _tell(loop, lambda: settle(lambda: answer.set_exception(told)))
                else:
                    _tell(loop, lambda: settle(lambda: answer.set_result(value)))

            threading.Thread(target=run, name="page reader", daemon=True).start()
            return await answer


def _tell(loop: asyncio.AbstractEventLoop, deed: Callable[[], None]) -> None:
    """Do something in the loop; if it has ended, nobody waits any more."""
    with contextlib.suppress(RuntimeError):
        loop.call_soon_threadsafe(deed)
