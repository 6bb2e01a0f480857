"""Do values follow the normal law? Anderson and Darling's test with mean and spread from the values.

Indices of capability rest on that law, so a report says when it does not hold. Not proof that it does: few
values fit anything.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.physics.sample import sample

FEWEST = 8
"""Values from which the formula of the probability holds."""

DOUBTFUL_BELOW = 0.05
"""Probability below which the normal law is doubted; usual practice."""


@dataclass(frozen=True, slots=True)
class Normality:
    """What the test says.

    Attributes:
        a_square: the statistic, for mean and spread estimated, without correction for n.
        p: probability that normal values fit as badly.
    """

    a_square: float
    p: float

    @property
    def doubtful(self) -> bool:
        """The normal law does not describe the values."""
        return self.p < DOUBTFUL_BELOW


def normality(values: Sequence[float]) -> Normality | None:
    """Anderson and Darling's test; None for fewer than 8 values or values without spread.

    A² = -n - sum (2i - 1)(ln Phi(z_i) + ln(1 - Phi(z_(n+1-i)))) / n, raised by 1 + 0.75/n + 2.25/n²; its
    probability by the piecewise exponentials of D'Agostino and Stephens, Goodness-of-Fit Techniques (1986),
    table 4.9.

    Raises:
        InputImpossible: no value, or one that is no finite number.
    """
    of = sample(values)
    if of.count < FEWEST or of.standard_deviation == 0.0:
        return None
    z = np.sort((np.asarray(values, dtype=float) - of.mean) / of.standard_deviation)
    n = of.count
    weights = 2.0 * np.arange(n) + 1.0
    a_square = -n - math.fsum((weights * (_log_below(z) + _log_below(-z[::-1]))).tolist()) / n
    return Normality(a_square, _probability(a_square * (1.0 + 0.75 / n + 2.25 / n**2)))


def _log_below(z: np.ndarray) -> np.ndarray:
    """Logarithm of the normal distribution; by its asymptote where the distribution is no longer a number."""
    near = np.maximum(z, -37.0)
    logs = np.log(
        0.5 * np.fromiter(map(math.erfc, (near / -math.sqrt(2.0)).tolist()), dtype=float, count=len(z))
    )
    far = np.minimum(z, -37.0)
    asymptote = -0.5 * far * far - np.log(-far) - 0.5 * math.log(2.0 * math.pi)
    return np.where(z > -37.0, logs, asymptote)


def _probability(a: float) -> float:
    if a >= 0.6:
        return min(1.0, math.exp(1.2937 - 5.709 * a + 0.0186 * a * a)) if a < 10.0 else 0.0
    if a > 0.34:
        return math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    if a > 0.2:
        return 1.0 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    return 1.0 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)
