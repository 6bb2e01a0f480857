"""Counts and yields: what happens most often, and how well a share is known.

Not for what a fault is (`verdict`), and not for the shop's failure rates in general: only its own counts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from acquire.errors import InputImpossible
from acquire.physics.laws import normal_quantile
from acquire.stats import CONFIDENCE


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many, with the interval that the true share lies in.

    Attributes:
        count: hits, 0 to `of`.
        of: trials.
        low, high: of the interval, 0 to 1; the whole span where there were no trials.
    """

    count: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """Hits over trials; 0 where there were none."""
        return self.count / self.of if self.of else 0.0


def share_of(count: int, of: int) -> Share:
    """A share with its interval by Wilson's score.

    Source: Wilson, J. Am. Stat. Assoc. 22 (1927) 209; NIST/SEMATECH e-Handbook, 7.2.4.1. It stays within 0
    to 1 and does not shrink to nothing when every unit passed.

    Args:
        count: hits.
        of: trials; 0 gives the whole span.

    Raises:
        InputImpossible: negative counts, more hits than trials.
    """
    if not 0 <= count <= of:
        raise InputImpossible(f"{count} of {of} is no share.", "Count again.")
    if of == 0:
        return Share(0, 0, 0.0, 1.0)
    z = normal_quantile(0.5 * (1.0 + CONFIDENCE))
    share, widened = count / of, 1.0 + z * z / of
    middle = (share + z * z / (2.0 * of)) / widened
    half = z / widened * math.sqrt(share * (1.0 - share) / of + z * z / (4.0 * of * of))
    low = 0.0 if count == 0 else max(0.0, middle - half)
    high = 1.0 if count == of else min(1.0, middle + half)
    return Share(count, of, low, high)


@dataclass(frozen=True, slots=True)
class ParetoBar:
    """One kind in a Pareto: its share of all counts, 0 to 1, and that with all more frequent ones."""

    kind: str
    count: int
    share: float
    cumulative: float


def pareto(counts: Mapping[str, int]) -> tuple[ParetoBar, ...]:
    """Kinds by how often they happen, the most frequent first; equal ones by name.

    Args:
        counts: kind -> count, >= 0; kinds that never happened are left out.

    Raises:
        InputImpossible: a negative count.
    """
    for kind, count in counts.items():
        if count < 0:
            raise InputImpossible(f"{kind!r} is counted {count} times.", "Count again.")
    total, run = sum(counts.values()), 0
    bars = []
    for kind, count in sorted(counts.items(), key=lambda each: (-each[1], each[0])):
        if count:
            run += count
            bars.append(ParetoBar(kind, count, count / total, run / total))
    return tuple(bars)
