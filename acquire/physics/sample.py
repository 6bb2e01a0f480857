"""Repeated readings: mean, spread, uncertainty of the mean, and pooling.

Evaluation of type A (JCGM 100:2008, 4.2). Sums are taken about the mean and exactly rounded, so that ten
million plus a tenth keeps its tenth. Not for a stream of readings that may still be moving: `settle` judges
those.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from operator import mul

from acquire.errors import InputImpossible
from acquire.physics.checks import all_finite


@dataclass(frozen=True, slots=True)
class Sample:
    """What n readings of one thing tell.

    Attributes:
        count: number of readings.
        mean: arithmetic mean.
        standard_deviation: of single readings, n - 1 in the denominator; 0 for a single one.
    """

    count: int
    mean: float
    standard_deviation: float


def sample(readings: Sequence[float]) -> Sample:
    """Mean and spread of readings, in two passes.

    Source: JCGM 100:2008, 4.2.1 and 4.2.2.

    Raises:
        InputImpossible: no reading, or one that is no finite number.
    """
    count = len(readings)
    if count == 0:
        raise InputImpossible("There are no readings to evaluate.", "Measure at least once.")
    all_finite(readings, "a reading")
    mean = math.fsum(readings) / count
    off = [reading - mean for reading in readings]
    square = math.fsum(map(mul, off, off))
    deviation = math.sqrt(square / (count - 1)) if count > 1 else 0.0
    return Sample(count, mean, deviation)
