"""Is a unit that comes back the one that left? All pairs together against three stories, with stated odds.

* this unit: each pair reads as it did, but for what the measurements leave open and a little ageing;
* a sister: another unit of ours of the same type, as far apart from it as our units are among each other;
* another winding: somebody else's, about as far off as rewinds of the same data are.

In each story any pair may besides have a fault, which makes it read anything: a fault alone does not make
the unit a stranger. Pairs are taken together with what they share: the temperature of each visit moves all of
them alike, and units from one spool are alike in all windings. Method: Bayes' rule over multivariate normal
laws of the logarithms of the readings. Pure; not for finding the readings (returned).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from acquire.errors import InputImpossible

Array = npt.NDArray[np.float64]

AGEING = 0.003
"""Standard deviation of what a sound winding's resistance moves by in use, as a fraction; workshop choice."""

FAULTY = 0.1
"""Probability of a fault at each pair of a unit that comes back; workshop choice, no statistics exist."""

FAULT_SIZE = 0.3
"""Standard deviation of the logarithm of what a fault makes of a reading; workshop choice: from a few per
cent to half or double."""

MOST_FAULTS = 3
"""Pairs with a fault at once that are thought of; more are too rare to matter."""

STRANGER_COMMON, STRANGER_OWN = 0.08, 0.05
"""Standard deviations between rewinds of one type by different shops, all windings alike and each for itself,
as fractions; workshop choice after the tolerances of wire (2 to 8 %) and mean turn (2 to 3 %)."""

FEWEST_SISTERS = 5
"""Units of ours that a spread can be taken from."""

SISTER_SHARE = 0.5
"""Of what is left of the odds beside this unit, how much goes to a sister; the rest to another winding."""


@dataclass(frozen=True, slots=True)
class VisitReading:
    """One pair at one visit, at the reference temperature.

    Attributes:
        ohm: > 0.
        relative_u: standard uncertainty without that of the temperature, as a fraction.
        relative_temperature_u: standard uncertainty from the winding's temperature, common to all pairs of a
            visit, as a fraction.
    """

    ohm: float
    relative_u: float
    relative_temperature_u: float = 0.0


@dataclass(frozen=True, slots=True)
class Odds:
    """Probabilities of the three stories; they add up to 1."""

    this_unit: float
    sister: float
    stranger: float


def odds(
    then: Sequence[VisitReading],
    now: Sequence[VisitReading],
    sisters: Sequence[Sequence[float]],
    prior: float = 0.5,
) -> Odds:
    """Weigh the three stories.

    Args:
        then: what this unit read when it left, pair by pair.
        now: the same pairs today.
        sisters: ohms of the same pairs of other units of ours, one row a unit, `FEWEST_SISTERS` at least.
        prior: probability that it is this unit before anything is measured, between 0 and 1.

    Raises:
        InputImpossible: no pairs, pairs that do not go together, too few sisters, values that are not above
            zero, or a prior of certainty.
    """
    _refuse_impossible(then, now, sisters, prior)
    logs = np.log(np.array(sisters, dtype=np.float64))
    today = np.log([each.ohm for each in now])
    mean, between = _spread(logs)
    u_now, u_then = _covariance(now), _covariance(then)
    pairs = len(now)
    left = np.log([each.ohm for each in then])
    stranger = np.full((pairs, pairs), STRANGER_COMMON**2) + np.eye(pairs) * STRANGER_OWN**2
    stories = (
        (today - left, u_now + u_then + np.eye(pairs) * AGEING**2, prior),
        (today - mean, u_now + between, (1.0 - prior) * SISTER_SHARE),
        (today - mean, u_now + between + stranger, (1.0 - prior) * (1.0 - SISTER_SHARE)),
    )
    weights = np.array([_log_likelihood(off, law) + math.log(odd) for off, law, odd in stories])
    shares = np.exp(weights - weights.max())
    shares /= shares.sum()
    return Odds(*(float(share) for share in shares))


def _refuse_impossible(
    then: Sequence[VisitReading],
    now: Sequence[VisitReading],
    sisters: Sequence[Sequence[float]],
    prior: float,
) -> None:
    if not then or len(then) != len(now) or any(len(row) != len(now) for row in sisters):
        raise InputImpossible("Two visits and their sisters are compared pair by pair.")
    if len(sisters) < FEWEST_SISTERS:
        raise InputImpossible(f"The spread between units needs {FEWEST_SISTERS} other units at least.")
    ohms = [each.ohm for each in (*then, *now)] + [ohm for row in sisters for ohm in row]
    if not all(math.isfinite(ohm) and ohm > 0.0 for ohm in ohms):
        raise InputImpossible("Only resistances above zero can be compared.")
    if not 0.0 < prior < 1.0:
        raise InputImpossible("The odds beforehand lie between 0 and 1.")


def _covariance(readings: Sequence[VisitReading]) -> Array:
    """Of one visit: each pair's own part, and the temperature that they share."""
    common = np.array([each.relative_temperature_u for each in readings])
    own = np.array([each.relative_u for each in readings])
    return np.asarray(np.outer(common, common) + np.diag(own**2), dtype=np.float64)


def _spread(logs: Array) -> tuple[Array, Array]:
    """Mean of the sisters, and the covariance of one more unit about it.

    The sample covariance of n units is drawn towards its diagonal by p / (n - 1 + p), as few units tell
    little of what p pairs share, and widened by (1 + 1/n), as the mean is known no better.
    """
    n, pairs = logs.shape
    sample = np.atleast_2d(np.cov(logs, rowvar=False))
    share = pairs / (n - 1.0 + pairs)
    drawn = (1.0 - share) * sample + share * np.diag(np.diag(sample))
    return logs.mean(axis=0), (1.0 + 1.0 / n) * drawn


def _log_likelihood(off: Array, law: Array) -> float:
    """Logarithm of the density of a deviation, over all ways in which pairs may have faults."""
    pairs = len(off)
    terms = []
    for faulty in _subsets(pairs):
        wider = law.copy()
        for pair in faulty:
            wider[pair, pair] += FAULT_SIZE**2
        odd = len(faulty) * math.log(FAULTY) + (pairs - len(faulty)) * math.log(1.0 - FAULTY)
        terms.append(odd + _log_normal(off, wider))
    top = max(terms)
    return top + math.log(sum(math.exp(term - top) for term in terms))


def _subsets(pairs: int) -> Iterator[tuple[int, ...]]:
    most = MOST_FAULTS if pairs <= 12 else MOST_FAULTS - 1  # beyond, triples are many and tell no more
    for size in range(min(most, pairs) + 1):
        yield from combinations(range(pairs), size)


def _log_normal(off: Array, law: Array) -> float:
    """Logarithm of the multivariate normal density about zero."""
    sign, log_determinant = np.linalg.slogdet(law)
    if sign <= 0:
        raise InputImpossible("The uncertainties are inconsistent.")
    distance = float(off @ np.linalg.solve(law, off))
    return -0.5 * (distance + float(log_determinant) + len(off) * math.log(2.0 * math.pi))
