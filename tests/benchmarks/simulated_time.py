"""Parts of sim in simulated time: a loop that waits for nothing, and units and probes that reckon less.

Nothing is modelled anew: the clock is sim's on another loop, the unit remembers what sim's unit reads.
"""

from __future__ import annotations

import asyncio
import math
import selectors
from dataclasses import dataclass, field, replace

from sim.clock import BenchClock
from sim.probes import Probes
from sim.truth import TruthLog
from sim.winding import WoundUnit, wander


class _Skipping(selectors.SelectSelector):
    """Waits for nothing: time moves on instead."""

    now_s = 0.0

    def select(self, timeout=None):
        """Nothing is ever ready; a wait is a jump."""
        if timeout is None:
            raise RuntimeError("everything waits for something else: the bench stands still")
        self.now_s += max(timeout, 0.0)
        return []


class SimulatedLoop(asyncio.SelectorEventLoop):
    """An event loop whose time is simulated."""

    def __init__(self):
        self.skipping = _Skipping()
        super().__init__(self.skipping)

    def time(self):
        """Simulated seconds."""
        return self.skipping.now_s


class LoopClock(BenchClock):
    """Sim's clock on simulated time."""

    def __init__(self, loop):
        super().__init__()
        self._loop = loop

    def now_s(self):
        """Simulated seconds since the start."""
        return self._loop.time()


@dataclass(slots=True)
class SteadyUnit(WoundUnit):
    """A unit that remembers what it reads: the same numbers as sim's, a hundred times as fast.

    Between whole kelvins a pair's ohms are a straight line (off by 1e-6 of the value at most). A joint is in
    series with its pin, so its unrest is added.
    """

    known: dict = field(default_factory=dict)
    calm: WoundUnit | None = None

    def ohm(self, a, b, celsius, t_s=0.0):
        """As `WoundUnit.ohm`."""
        low = math.floor(celsius)
        below, above = self._at(a, b, low), self._at(a, b, low + 1)
        ohm = below + (above - below) * (celsius - low) if math.isfinite(below) else below
        for branch in self.branches:
            if branch.unrest and math.isfinite(branch.ohm_20) and (branch.a in (a, b) or branch.b in (a, b)):
                ohm += branch.ohm_20 * branch.unrest * wander(t_s, branch.name)
        return ohm

    def _at(self, a, b, celsius):
        key = (a, b, celsius)
        if key not in self.known:
            if self.calm is None:
                branches = tuple(replace(b, unrest=0.0) if b.unrest else b for b in self.branches)
                self.calm = WoundUnit("", branches, swapped=self.swapped)
            self.known[key] = self.calm.ohm(a, b, celsius)
        return self.known[key]


def steady(unit: WoundUnit, kelvin: float) -> SteadyUnit:
    """The same unit, warmer than the air by so much when it comes to the bench."""
    return SteadyUnit(unit.serial, unit.branches, kelvin, unit.cooling_s, 0.0, unit.swapped)


class CoarseProbes(Probes):
    """Sim's probes, looked at three times within one conversion instead of seven: quicker to reckon."""

    SAMPLES = 3


class NoLog(TruthLog):
    """The truth is known already; to reckon it at every touch would take most of the time."""

    def __init__(self):
        super().__init__(None)

    def unit(self, *_facts):
        """Not written."""

    def touch(self, *_facts):
        """Not written."""
