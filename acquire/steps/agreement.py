"""Do the readings of one unit go together? Each is held against what all the others foretell for its pair.

In a circuit that has fewer windings than measured pairs, R13 = R12 + R23 and the like must hold whatever the
windings really are. Readings that are all inside their limits can break that: then one of them was taken on
another pair, or moved. Not for limits, and not for faults (verdict/diagnose).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from acquire.physics.common import PairReading
from acquire.records import Pair
from acquire.steps.estimate import estimate
from acquire.steps.pairs import PairTable

_KNOWN = 0.5
"""The others know a pair when they leave less than this share of its own spread; workshop choice."""

_BENT = 1e-3
"""Share of a pair's spread allowed for the bend of parallel paths, which are taken as straight lines."""


@dataclass(frozen=True, slots=True)
class Oddity:
    """The reading that goes least with the others.

    Attributes:
        pair: it is of.
        ohm: that it reads.
        foretold_ohm, u_ohm: what the others say, and the standard uncertainty of the difference.
        away: the difference in units of that.
    """

    pair: Pair
    ohm: float
    foretold_ohm: float
    u_ohm: float

    @property
    def away(self) -> float:
        """Difference in standard uncertainties, >= 0."""
        return abs(self.ohm - self.foretold_ohm) / self.u_ohm


def oddest(table: PairTable, readings: Sequence[PairReading | tuple[Pair, float, float]]) -> Oddity | None:
    """The reading furthest from what the others foretell.

    Taking it away makes the rest agree best: for normal laws the fall of chi-square is the square of its
    distance from what the rest foretells.

    Args:
        table: of the sheet.
        readings: of one unit, each pair once; infinite ones are left out.

    Returns:
        None where no pair is known by the others.
    """
    finite = [PairReading(*reading) for reading in readings if math.isfinite(reading[1])]
    found = [odd for odd in (_held_against(table, finite, index) for index in range(len(finite))) if odd]
    return max(found, key=lambda odd: odd.away, default=None)


def _held_against(table: PairTable, readings: Sequence[PairReading], index: int) -> Oddity | None:
    this = readings[index]
    others = estimate(table, [r for k, r in enumerate(readings) if k != index and r.pair != this.pair])
    spread_ohm = table.spread_ohm(this.pair)
    if math.isinf(table.nominal_ohm(this.pair)) or spread_ohm <= 0.0:
        return None
    if others.pair(this.pair)[1] > _KNOWN * spread_ohm:
        return None
    mean_ohm, u_ohm = others.reading(this)
    return Oddity(this.pair, this.ohm, mean_ohm, math.hypot(u_ohm, _BENT * spread_ohm, 1e-9))
