"""The simulated bench's clock: real time, run a number of times faster.

Not for dating records: it starts at zero when the bench is built.
"""

from __future__ import annotations

import asyncio
import time


class BenchClock:
    """Seconds of simulated time since the bench was built.

    Args:
        speed: simulated seconds per real second, > 0.
    """

    def __init__(self, speed: float = 1.0) -> None:
        if not speed > 0:
            raise ValueError("the speed of a bench is a number above 0")
        self.speed = speed
        self._start_s = time.monotonic()

    def now_s(self) -> float:
        """Simulated seconds since the start."""
        return (time.monotonic() - self._start_s) * self.speed

    async def until(self, when_s: float) -> None:
        """Wait until a simulated time; gives the loop a turn even when that time has passed."""
        await asyncio.sleep(max(0.0, (when_s - self.now_s()) / self.speed))

    async def pause(self, duration_s: float) -> None:
        """Wait for a simulated duration in seconds."""
        await self.until(self.now_s() + duration_s)
