"""A simulated bench for gauge studies: parts that come back under their tags, hands that differ by operator.

    python -m tests.study_bench --scene fathom-7 --hands typed --meter-port 5025

Everything else is `python -m sim`, whose typed words it adds to: `part QF` puts that part on the bench (the
same unit each time), `hands bo 0.2` lets another operator's contacts add so many ohms. Not a test itself.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import sim.bench
from sim.__main__ import main
from sim.faults import Fault
from sim.probes import ContactHabit, new_touch
from sim.scenes import PlannedUnit, dice_for, stock_spools, wound
from sim.typed import TypedHands, Unclear


class StudyHands(TypedHands):
    """Typed hands that find a part again."""

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        self._parts = {}
        self._habit = ContactHabit()

    async def _do(self, words):
        if words[0] == "part" and len(words) == 2:
            self._put(words[1])
        elif words[0] == "hands" and len(words) == 3:
            extra = float(words[2])
            self._habit = replace(ContactHabit(), contact_ohm=(0.003 + extra, 0.012 + extra))
            self._say(f"hands of {words[1]}")
        else:
            await super()._do(words)

    def _put(self, label):
        if label not in self._parts:
            dice = dice_for(self._seed, self._kind.key, "part", len(self._parts))
            self._parts[label] = wound(self._kind, label, dice, stock_spools(self._kind, self._seed))
        if len(self._parts) > 100:
            raise Unclear("That is no study any more.")
        unit = self._parts[label]
        self._lifted()
        unit.since_s = self._clock.now_s()
        self._planned = PlannedUnit(unit, Fault(), "good")
        self._probes.place(unit)
        self._say(f"part {label} lies there")

    async def _touch(self, pair):
        self._lifted()
        self._probes.touch(new_touch(self._dice, self._habit, pair, self._clock.now_s()))
        if pair is not None and self._planned is not None:
            self._say(f"true {self._planned.unit.steady_ohm(*pair):.9g}")


if __name__ == "__main__":
    sim.bench.TypedHands = StudyHands
    sys.exit(main())
