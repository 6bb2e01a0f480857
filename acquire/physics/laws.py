"""Probability laws that a budget needs: normal, Student, chi-square, and a bounded law blurred by a normal.

Written out here so that no statistics library is loaded at run time (it would cost most of a second); the
tests hold every function against scipy. Not for fitting data.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

from acquire.choices import Shape
from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, probability

_STANDARD = NormalDist()
_ROOT_2 = math.sqrt(2.0)
_ROOT_2_PI = math.sqrt(2.0 * math.pi)

HALF_WIDTH_OVER_U = {
    Shape.RECTANGULAR: math.sqrt(3.0),
    Shape.TRIANGULAR: math.sqrt(6.0),
    Shape.U_SHAPED: math.sqrt(2.0),
}
"""Half-width of a bounded law over its standard deviation (JCGM 100:2008, 4.3; JCGM 101:2008, 6.4)."""


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
    # The cdf is concave above zero, so Newton's steps from the left of the root never overshoot it.
    t = normal_quantile(p)
    for _ in range(100):
        step = (p - student_cdf(t, degrees_of_freedom)) / student_density(t, degrees_of_freedom)
        t += step
        if abs(step) <= 1e-13 * t:
            break
    return t


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
    spread = 2.0 / (9.0 * degrees_of_freedom)
    near = degrees_of_freedom * max(0.01, 1.0 - spread + normal_quantile(p) * math.sqrt(spread)) ** 3
    # Wilson and Hilferty (Abramowitz and Stegun, 26.4.17; from memory): seldom off by a hundredth.
    low = high = near
    wider = 1.01
    while chi_square_cdf(low, degrees_of_freedom) >= p:
        low, wider = low / wider, wider * wider
    wider = 1.01
    while chi_square_cdf(high, degrees_of_freedom) < p:
        high, wider = high * wider, wider * wider
    return solve(lambda x: chi_square_cdf(x, degrees_of_freedom) - p, low, high)


@dataclass(frozen=True, slots=True)
class Law:
    """Law of a measured value's error: one bounded law blurred by a normal one, both centred on zero.

    Attributes:
        half_width: of the bounded part, >= 0, in the unit of the value; 0 leaves the normal part alone.
        normal_u: standard deviation of the normal part, >= 0.
        shape: of the bounded part.
    """

    half_width: float
    normal_u: float
    shape: Shape = Shape.RECTANGULAR

    @classmethod
    def of(cls, shape: Shape, standard_uncertainty: float) -> Law:
        """A pure law of that shape and standard deviation."""
        if shape is Shape.NORMAL:
            return cls(0.0, standard_uncertainty)
        return cls(standard_uncertainty * HALF_WIDTH_OVER_U[shape], 0.0, shape)

    @property
    def standard_deviation(self) -> float:
        """Root sum of squares of both parts."""
        return math.hypot(self.half_width / HALF_WIDTH_OVER_U.get(self.shape, 1.0), self.normal_u)

    def cdf(self, x: float) -> float:
        """Probability that the error is at most x.

        Exact for a rectangular or triangular part (the normal integral integrated once or twice); for a
        U-shaped part by the midpoint rule over the angle, good to 1e-6.
        """
        a, s = self.half_width, self.normal_u
        if math.isinf(x) or (a <= 0.0 and s <= 0.0):
            return 1.0 if x >= 0.0 else 0.0
        if x > a + 9.0 * s:
            return 1.0
        if s > 20.0 * a:
            return normal_cdf(x / self.standard_deviation)
        if s < _SHARPEST[self.shape] * a:
            return _bounded_cdf(self.shape, x / a)
        return _BLURRED[self.shape](x, a, s)

    def quantile(self, p: float) -> float:
        """The x that the error stays below with probability p, 0 < p < 1.

        Raises:
            InputImpossible: p is not strictly between 0 and 1.
        """
        probability(p, "the probability")
        if p < 0.5:
            return -self.quantile(1.0 - p)
        if self.half_width <= 0.0:
            return self.normal_u * normal_quantile(p)
        return solve(lambda x: self.cdf(x) - p, 0.0, self.half_width + 9.0 * self.normal_u)

    def between(self, low: float, high: float) -> float:
        """Probability that the error lies between two bounds, either of which may be infinite."""
        if high <= low:
            return 0.0
        if low > 0.0:  # as far on the other side, where the last digits are
            low, high = -high, -low
        return min(1.0, max(0.0, self.cdf(high) - self.cdf(low)))


def solve(f: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function crosses zero between two points (false position, Illinois variant).

    Every third step halves the span, so that no shape of function can slow it down for long.

    Raises:
        InputImpossible: the function does not change sign between them.
    """
    f_low, f_high = f(low), f(high)
    if f_low >= 0.0:
        return low
    if f_high < 0.0:
        raise InputImpossible("No value in the searched span has that probability.", "Ask for less coverage.")
    before, side = low, 0
    for turn in range(200):
        middle = (low * f_high - high * f_low) / (f_high - f_low)
        halved = turn % 3 == 2 or not low < middle < high
        if halved:
            middle = 0.5 * (low + high)
        value = f(middle)
        if value == 0.0 or (not halved and abs(middle - before) <= 1e-15 * abs(middle)):
            return middle
        before = middle
        if value < 0.0:
            low, f_low = middle, value
            f_high = f_high / 2.0 if side < 0 else f_high
            side = -1
        else:
            high, f_high = middle, value
            f_low = f_low / 2.0 if side > 0 else f_low
            side = 1
    return 0.5 * (low + high)


def _density(z: float) -> float:
    return math.exp(-0.5 * z * z) / _ROOT_2_PI


def _integral_of_cdf(z: float) -> float:
    """Integral of the normal cdf up to z."""
    return z * normal_cdf(z) + _density(z)


def _integral_twice(z: float) -> float:
    """Integral of `_integral_of_cdf` up to z."""
    return 0.5 * ((z * z + 1.0) * normal_cdf(z) + z * _density(z))


def _blurred_rectangle(x: float, a: float, s: float) -> float:
    return s / (2.0 * a) * (_integral_of_cdf((x + a) / s) - _integral_of_cdf((x - a) / s))


def _blurred_triangle(x: float, a: float, s: float) -> float:
    bend = _integral_twice((x + a) / s) - 2.0 * _integral_twice(x / s) + _integral_twice((x - a) / s)
    return (s / a) ** 2 * bend


def _blurred_arcsine(x: float, a: float, s: float) -> float:
    points = 400
    angles = ((i + 0.5) * math.pi / points for i in range(points))
    return sum(normal_cdf((x - a * math.cos(angle)) / s) for angle in angles) / points


def _bounded_cdf(shape: Shape, x: float) -> float:
    """Cdf of a bounded law of half-width 1."""
    x = min(1.0, max(-1.0, x))
    if shape is Shape.TRIANGULAR:
        return 0.5 * (1.0 + x) ** 2 if x < 0.0 else 1.0 - 0.5 * (1.0 - x) ** 2
    if shape is Shape.U_SHAPED:
        return 0.5 + math.asin(x) / math.pi
    return 0.5 * (1.0 + x)


_SHARPEST = {Shape.NORMAL: 1e-9, Shape.RECTANGULAR: 1e-9, Shape.TRIANGULAR: 1e-6, Shape.U_SHAPED: 0.02}
"""Below this share of the half-width the normal part is too narrow for the arithmetic and is left out."""

_BLURRED: dict[Shape, Callable[[float, float, float], float]] = {
    Shape.NORMAL: _blurred_rectangle,
    Shape.RECTANGULAR: _blurred_rectangle,
    Shape.TRIANGULAR: _blurred_triangle,
    Shape.U_SHAPED: _blurred_arcsine,
}


def fisher_tail(f: float, between: float, within: float) -> float:
    """Probability that a variance ratio is at least f where both estimate one variance (A. and S., 26.6.2).

    Args:
        f: ratio of mean squares, >= 0; infinite gives 0.
        between: degrees of freedom of the numerator, > 0.
        within: degrees of freedom of the denominator, > 0.

    Raises: InputImpossible: no such ratio or degrees of freedom.
    """
    if math.isnan(f) or f < 0.0:
        raise InputImpossible(f"A variance ratio of {f!r} cannot be.", "Give more measurements.")
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
        while abs(term) > 1e-17 * abs(total):
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
