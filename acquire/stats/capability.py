"""Yields and capability: what passes, how a batch's spread compares with its limits, and how surely.

Cp and Cpk from the spread between neighbours, Pp and Ppk from the spread of all, with how much of it is the
meter's; counts of what happens most often. Not for judging single units (`verdict`), and of little worth
before the chart is in control: a change of spool is no spread.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, finite
from acquire.physics.laws import chi_square_quantile, normal_cdf, normal_quantile
from acquire.physics.sample import sample
from acquire.quantity import chance
from acquire.stats import CONFIDENCE
from acquire.stats.charts import individuals

FEWEST = 8
"""Values from which the formula of the probability holds."""

DOUBTFUL_BELOW = 0.05
"""Probability below which the normal law is doubted; usual practice."""


@dataclass(frozen=True, slots=True)
class Normality:
    """The statistic, without correction for n, and the probability that normal values fit as badly."""

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
        return math.exp(1.2937 - 5.709 * a + 0.0186 * a * a) if a < 10.0 else 0.0
    if a > 0.34:
        return math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    if a > 0.2:
        return 1.0 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    return 1.0 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)


FEW = 30
"""Units below which an index is called a rough guess; usual practice."""

RESTLESS = 1.25
"""Overall over within spread from which the level is said to move. Own choice."""


@dataclass(frozen=True, slots=True)
class CapabilityLimits:
    """Limits of the sheet, in the unit of the values; None where there is none.

    Raises:
        InputImpossible: neither, or the lower not below the upper.
    """

    lower: float | None
    upper: float | None

    def __post_init__(self) -> None:
        given = [limit for limit in (self.lower, self.upper) if limit is not None]
        for limit in given:
            finite(limit, "a limit")
        if not given:
            raise InputImpossible("Without limits there is no capability.", "Give the sheet's limits.")
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise InputImpossible(
                f"The lower limit {self.lower:g} is not below the upper one {self.upper:g}.", "Swap them."
            )

    @property
    def width(self) -> float | None:
        """Upper less lower; None where one is missing."""
        return None if self.lower is None or self.upper is None else self.upper - self.lower

    def distances(self, value: float) -> tuple[float, float]:
        """How far a value lies within the lower and the upper limit; infinite where there is none."""
        above = math.inf if self.upper is None else self.upper - value
        return math.inf if self.lower is None else value - self.lower, above


@dataclass(frozen=True, slots=True)
class Index:
    """An index of capability of the values at hand, with its confidence interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Outside:
    """Share of units expected outside the limits by the normal law, 0 to 1.

    Attributes:
        below, above: of each limit; 0 where there is none.
        counted: units at hand that lie outside.
    """

    below: float
    above: float
    counted: int

    @property
    def parts_per_million(self) -> float:
        """Both sides together."""
        return 1e6 * (self.below + self.above)


@dataclass(frozen=True, slots=True)
class Capability:
    """What a batch's values say of its limits.

    Attributes:
        count: values.
        mean: of them.
        sigma_overall: standard deviation of all, n - 1.
        sigma_within: from the spread between neighbours, their mean moving range.
        limits: of the sheet.
        cp, cpk: by `sigma_within`; None where a limit or the spread is missing.
        pp, ppk: by `sigma_overall`; None likewise.
        outside: share beyond the limits, by mean and `sigma_overall`; None without spread.
        normality: test of the normal law; None for few values.
        meter_share: at most this part of the overall variance is the meter's, 0 to 1; None if unknown.
        remarks: what a reader must know, a sentence each.
    """

    count: int
    mean: float
    sigma_overall: float
    sigma_within: float
    limits: CapabilityLimits
    cp: Index | None
    cpk: Index | None
    pp: Index | None
    ppk: Index | None
    outside: Outside | None
    normality: Normality | None
    meter_share: float | None
    remarks: tuple[str, ...]


def capability(values: Sequence[float], limits: CapabilityLimits, meter_u: float | None = None) -> Capability:
    """Indices with intervals, expected share outside, normality, and the meter's part of the spread.

    Cp = (upper - lower) / 6 sigma, Cpk = distance of the mean to the nearer limit / 3 sigma (NIST/SEMATECH
    e-Handbook, 6.1.6). Interval of Cp by the chi-square law of sigma; of Cpk by Bissell, Applied Statistics
    39 (1990) 331: Cpk ± z · sqrt(1/(9 n) + Cpk²/(2 nu)).

    Args:
        values: two or more, in order of time.
        limits: of the sheet.
        meter_u: standard uncertainty of one value, in its unit, > 0; None if unknown.

    Raises:
        InputImpossible: fewer than two values, no finite number, or arguments that do not go together.
    """
    if len(values) < 2:
        raise InputImpossible(f"{len(values)} value shows no spread.", "Measure at least two units.")
    of = sample(values)
    near = individuals(values)
    cp, cpk = _indices(of.mean, near.sigma, limits, of.count, near.freedom)
    pp, ppk = _indices(of.mean, of.standard_deviation, limits, of.count, of.count - 1.0)
    share = None
    if meter_u is not None and of.standard_deviation > 0.0:
        share = (above_zero(meter_u, "the meter's standard uncertainty") / of.standard_deviation) ** 2
    plain = Capability(
        count=of.count,
        mean=of.mean,
        sigma_overall=of.standard_deviation,
        sigma_within=near.sigma,
        limits=limits,
        cp=cp,
        cpk=cpk,
        pp=pp,
        ppk=ppk,
        outside=_outside(values, of.mean, of.standard_deviation, limits),
        normality=normality(values),
        meter_share=None if share is None else min(1.0, share),
        remarks=(),
    )
    return replace(plain, remarks=_remarks(plain, share))


def _indices(
    mean: float, sigma: float, limits: CapabilityLimits, count: int, freedom: float
) -> tuple[Index | None, Index | None]:
    """The index of the width and that of the nearer limit."""
    if sigma <= 0.0:
        return None, None
    z = normal_quantile(0.5 * (1.0 + CONFIDENCE))
    below, above = limits.distances(mean)
    near = min(below, above) / (3.0 * sigma)
    half = z * math.sqrt(1.0 / (9.0 * count) + near * near / (2.0 * freedom))
    nearer = Index(near, near - half, near + half)
    if limits.width is None:
        return None, nearer
    wide = limits.width / (6.0 * sigma)
    tail = 0.5 * (1.0 - CONFIDENCE)
    low = wide * math.sqrt(chi_square_quantile(tail, freedom) / freedom)
    high = wide * math.sqrt(chi_square_quantile(1.0 - tail, freedom) / freedom)
    return Index(wide, low, high), nearer


def _outside(values: Sequence[float], mean: float, sigma: float, limits: CapabilityLimits) -> Outside | None:
    if sigma <= 0.0:
        return None
    below, above = limits.distances(mean)
    counted = sum(min(limits.distances(value)) < 0.0 for value in values)
    return Outside(normal_cdf(-below / sigma), normal_cdf(-above / sigma), counted)


def _remarks(of: Capability, meter_share: float | None) -> tuple[str, ...]:
    told = []
    if of.sigma_overall <= 0.0:
        return ("All values are alike: the meter resolves too little to show the spread.",)
    if of.count < FEW and of.ppk is not None:
        told.append(
            f"Only {of.count} units: Ppk may truly be anything from {of.ppk.low:.2f} to {of.ppk.high:.2f}."
        )
    if of.sigma_within <= 0.0:
        told.append("Neighbours read alike, so there is no Cp or Cpk.")
    elif of.count >= 10 and of.sigma_overall > RESTLESS * of.sigma_within:
        told.append(
            f"The whole batch spreads {of.sigma_overall / of.sigma_within:.2g} times as wide as neighbours "
            f"do: the level moves. Pp and Ppk tell what was made, Cp and Cpk what could be."
        )
    if of.normality is None:
        told.append("Too few values to tell whether they follow the normal law, on which the indices rest.")
    elif of.normality.doubtful:
        told.append(
            f"The values do not follow the normal law ({chance(of.normality.p)}), on which the indices and "
            f"the share outside rest: look at the chart first."
        )
    if meter_share is not None:
        told.append(_of_the_meter(meter_share))
    return tuple(told)


def _of_the_meter(share: float) -> str:
    if share >= 1.0:
        return (
            "The meter's uncertainty is as large as the whole spread: the batch may be better than it looks."
        )
    word = (
        "hardly matters" if share < 0.1 else "counts" if share < 0.3 else "hides much of what the batch does"
    )
    return f"At most {100.0 * share:.0f} % of the variance is the meter's own uncertainty, which {word}."


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
