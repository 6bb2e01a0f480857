"""Probability laws that a budget needs: normal, Student, chi-square, and a rectangle blurred by a normal.

Written out here so that no statistics library is loaded at run time (it would cost most of a second); the
tests hold every function against scipy. Not for fitting data.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, probability

_STANDARD = NormalDist()
_ROOT_2 = math.sqrt(2.0)
_ROOT_2_PI = math.sqrt(2.0 * math.pi)


def normal_cdf(z: float) -> float:
    """Probability that a standard normal variable is at most z; exact in the lower tail."""
    return 0.5 * math.erfc(-z / _ROOT_2)


def normal_quantile(p: float) -> float:
    """The z with `normal_cdf(z) == p`, 0 < p < 1.

    Raises:
        InputImpossible: p is not strictly between 0 and 1.
    """
    return _STANDARD.inv_cdf(probability(p, "the probability"))


def student_cdf(t: float, degrees_of_freedom: float) -> float:
    """Probability that Student's variable is at most t.

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions (1964), 26.7.1 with 26.5.27.

    Args:
        t: any number.
        degrees_of_freedom: > 0, need not be whole; infinite is the normal law.

    Raises:
        InputImpossible: degrees of freedom not above zero.
    """
    if math.isinf(degrees_of_freedom) and degrees_of_freedom > 0:
        return normal_cdf(t)
    above_zero(degrees_of_freedom, "the number of degrees of freedom")
    share = degrees_of_freedom / (degrees_of_freedom + t * t)
    tail = 0.5 * _beta_share(share, degrees_of_freedom / 2.0, 0.5)
    return tail if t < 0.0 else 1.0 - tail


def student_quantile(p: float, degrees_of_freedom: float) -> float:
    """The t that Student's variable stays below with probability p.

    Args:
        p: 0 < p < 1; 0.975 for a two-sided 95 % interval.
        degrees_of_freedom: > 0, need not be whole; infinite gives the normal law's value.

    Raises:
        InputImpossible: p or the degrees of freedom out of range.
    """
    probability(p, "the probability")
    if p < 0.5:
        return -student_quantile(1.0 - p, degrees_of_freedom)
    if degrees_of_freedom > 1000.0:
        return _student_by_expansion(normal_quantile(p), degrees_of_freedom)
    nu = degrees_of_freedom
    return _climbed(p, normal_quantile(p), lambda t: student_cdf(t, nu), lambda t: student_density(t, nu))


def _climbed(
    p: float, start: float, cdf: Callable[[float], float], density: Callable[[float], float]
) -> float:
    """Where a cdf reaches p, by Newton's steps; one that turns back is rounding.

    From a point left of it where the cdf bends down, or right of it where it bends up, no step overshoots.
    """
    x, step = start, (p - cdf(start)) / density(start)
    first = step
    while step * first > 0.0 and x + step != x:
        x += step
        step = (p - cdf(x)) / density(x)
    return x


def _student_by_expansion(z: float, nu: float) -> float:
    """Student's quantile from the normal one for many degrees of freedom (Abramowitz and Stegun, 26.7.5)."""
    z2 = z * z
    g1 = z * (z2 + 1.0) / 4.0
    g2 = z * ((5.0 * z2 + 16.0) * z2 + 3.0) / 96.0
    g3 = z * (((3.0 * z2 + 19.0) * z2 + 17.0) * z2 - 15.0) / 384.0
    return z + g1 / nu + g2 / nu**2 + g3 / nu**3


def student_density(t: float, degrees_of_freedom: float) -> float:
    """Density of Student's variable at t, finite degrees of freedom > 0 (Abramowitz and Stegun, 26.7)."""
    half = 0.5 * degrees_of_freedom
    front = math.lgamma(half + 0.5) - math.lgamma(half) - 0.5 * math.log(degrees_of_freedom * math.pi)
    return math.exp(front - (half + 0.5) * math.log1p(t * t / degrees_of_freedom))


def chi_square_cdf(x: float, degrees_of_freedom: float) -> float:
    """Probability that a chi-square variable is at most x >= 0 (Abramowitz and Stegun, 26.4.19).

    Raises:
        InputImpossible: degrees of freedom not above zero.
    """
    above_zero(degrees_of_freedom, "the number of degrees of freedom")
    return 0.0 if x <= 0.0 else _gamma_share(degrees_of_freedom / 2.0, x / 2.0)


@lru_cache(maxsize=64)
def chi_square_quantile(p: float, degrees_of_freedom: float) -> float:
    """The x that a chi-square variable stays below with probability p, 0 < p < 1.

    Raises:
        InputImpossible: p or the degrees of freedom out of range.
    """
    probability(p, "the probability")
    half = above_zero(degrees_of_freedom, "the number of degrees of freedom") / 2.0

    def cdf(log_x: float) -> float:
        return chi_square_cdf(math.exp(log_x), degrees_of_freedom)

    def density(log_x: float) -> float:  # of the logarithm: one hump, at as many as there are degrees
        return math.exp(half * (log_x - math.log(2.0)) - 0.5 * math.exp(log_x) - math.lgamma(half))

    return math.exp(_climbed(p, math.log(degrees_of_freedom), cdf, density))


@dataclass(frozen=True, slots=True)
class Law:
    """Law of a measured value's error: a rectangle blurred by a normal law, both centred on zero.

    Attributes:
        half_width: of the rectangle, >= 0, in the unit of the value; 0 leaves the normal part alone.
        normal_u: standard deviation of the normal part, >= 0.
    """

    half_width: float
    normal_u: float

    def cdf(self, x: float) -> float:
        """Probability that the error is at most x: the normal cdf's mean over the rectangle."""
        a, s = self.half_width, self.normal_u
        if math.isinf(x) or a == s == 0.0:
            return 1.0 if x >= 0.0 else 0.0
        if a <= _NARROW * s:
            return normal_cdf(x / s)
        if s <= 0.0:
            return min(1.0, max(0.0, 0.5 + 0.5 * x / a))
        return s / (2.0 * a) * (_integral_of_cdf((x + a) / s) - _integral_of_cdf((x - a) / s))

    def quantile(self, p: float) -> float:
        """The x that the error stays below with probability p, 0 < p < 1.

        Raises:
            InputImpossible: p is not strictly between 0 and 1.
        """
        probability(p, "the probability")
        a, s = self.half_width, self.normal_u
        if a <= _NARROW * s:
            return s * normal_quantile(p)
        if s <= 0.0:
            return a * (2.0 * p - 1.0)
        return _climbed(
            p, 0.0, self.cdf, lambda x: 0.5 / a * (normal_cdf((a - x) / s) - normal_cdf(-(a + x) / s))
        )

    def between(self, low: float, high: float) -> float:
        """Probability that the error lies between two bounds, either of which may be infinite."""
        if high <= low:
            return 0.0
        if low > 0.0:  # as far on the other side, where the last digits are
            low, high = -high, -low
        return min(1.0, max(0.0, self.cdf(high) - self.cdf(low)))


_NARROW = 1e-6
"""Share of the normal part below which a rectangle is left out: of differences nothing would be left."""


def _density(z: float) -> float:
    return math.exp(-0.5 * z * z) / _ROOT_2_PI


def _integral_of_cdf(z: float) -> float:
    """Integral of the normal cdf up to z."""
    return z * normal_cdf(z) + _density(z)


def fisher_tail(f: float, between: float, within: float) -> float:
    """Probability that a variance ratio is at least f where both estimate one variance (A. and S., 26.6.2).

    Args:
        f: ratio of mean squares, >= 0; infinite gives 0.
        between: degrees of freedom of the numerator, > 0.
        within: degrees of freedom of the denominator, > 0.

    Raises: InputImpossible: no such ratio or degrees of freedom.
    """
    if math.isnan(f) or f < 0.0:
        raise InputImpossible(f"A variance ratio cannot be {f!r}.", "Give more measurements.")
    above_zero(min(between, within), "the number of degrees of freedom")
    return 0.0 if math.isinf(f) else _beta_share(within / (within + between * f), within / 2.0, between / 2.0)


def _beta_share(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function by its continued fraction (Abramowitz and Stegun, 26.5.8)."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - _beta_share(1.0 - x, b, a)
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )

    def step(n: int) -> float:
        m = n // 2
        if n % 2 == 0:
            return m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        return -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))

    return front / a / _continued(step)


def _continued(step: Callable[[int], float]) -> float:
    """1 + d1/(1 + d2/(1 + ...)) by Lentz's method."""
    tiny = 1e-300
    value, c, d = 1.0, 1.0, 0.0
    for n in range(1, 10_000):
        d = 1.0 / ((1.0 + step(n) * d) or tiny)
        c = (1.0 + step(n) / c) or tiny
        value *= c * d
        if c * d == 1.0:  # to the last bit
            break
    return value


def _gamma_share(a: float, x: float) -> float:
    """Regularised lower incomplete gamma function (Abramowitz and Stegun, 6.5.29 and 6.5.31)."""
    front = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1.0:
        term = total = 1.0 / a
        n = 0
        while total + term != total:  # to the last bit
            n += 1
            term *= x / (a + n)
            total += term
        return front * total
    tiny = 1e-300
    b = x + 1.0 - a
    c, d = 1.0 / tiny, 1.0 / b
    value = d
    for n in range(1, 10_000):
        step = -n * (n - a)
        b += 2.0
        d = 1.0 / ((step * d + b) or tiny)
        c = (b + step / c) or tiny
        value *= c * d
        if c * d == 1.0:  # to the last bit
            break
    return 1.0 - front * value
