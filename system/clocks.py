"""A monotonic clock that goes on while the machine sleeps: what lies on the bench cools meanwhile."""

from __future__ import annotations

import sys
import time

if sys.platform == "linux":

    def unslept_s() -> float:
        """Seconds since an arbitrary start, never going back; clock_gettime(2)."""
        return time.clock_gettime(time.CLOCK_BOOTTIME)

elif sys.platform == "darwin":

    def unslept_s() -> float:
        """The same; Python's own stands still while the machine sleeps, this one not (clock_gettime(3))."""
        return time.clock_gettime(time.CLOCK_MONOTONIC)

else:
    unslept_s = time.monotonic
    """The same; GetTickCount64 and QueryPerformanceCounter both go on."""
