"""Is a stretch of readings at rest, what is its value, and how sure is that? A pure computation in counts.

Not for the stream around it (contacts, ranges, overloads): that is `acquire.settle.filter`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from acquire.settle.noise import RangeNoise

_QUANTUM = 1.0 / math.sqrt(12.0)  # standard uncertainty of one count: JCGM 100:2008, F.2.2.1
_SLOW_SHARE = 0.3  # slow part of a meter's noise that averaging does not lower; simulated readings
# Student t, 97.5 %, 1 to 15 degrees of freedom: JCGM 100:2008, table G.2.
_T975 = (
    12.71,
    4.303,
    3.182,
    2.776,
    2.571,
    2.447,
    2.365,
    2.306,
    2.262,
    2.228,
    2.201,
    2.179,
    2.160,
    2.145,
    2.131,
)


@dataclass(frozen=True, slots=True)
class Limits:
    """What a stretch must keep, in counts and seconds."""

    band: float
    share: float
    slope_z: float
    horizon_s: float
    span_s: float
    min_points: int


@dataclass(frozen=True, slots=True)
class Rest:
    """A stretch judged: offsets and uncertainties are in counts, relative to the newest point."""

    at_rest: bool
    unrest: float
    offset: float
    points: int
    type_a: float
    drift: float
    quantisation: float
    degrees_of_freedom: float
    expanded: float
    sigma: float
    residuals: list[float]


def student_975(degrees_of_freedom: float) -> float:
    """Two-sided 95 % factor of Student's t; between whole degrees the lower one is used."""
    whole = int(degrees_of_freedom)
    if whole < 1:
        return _T975[0]
    return _T975[whole - 1] if whole <= len(_T975) else 1.96 + 2.5 / degrees_of_freedom


def judge(times_s: list[float], values: list[float], noise: RangeNoise, limits: Limits) -> Rest | None:
    """Look back over ever shorter stretches until one is at rest.

    Args:
        times_s: of the points, oldest first.
        values: in counts, same order.
        noise: prior scatter of one point.
        limits: to be kept.

    Returns:
        The longest stretch at rest, else the last one tried (for display); None: too few points yet.
    """
    n = len(times_s)
    newest = times_s[-1]
    rest = None
    while n >= limits.min_points and newest - times_s[-n] >= limits.span_s:
        rest = _line(times_s[-n:], values[-n:], noise, limits)
        if rest.at_rest:
            return rest
        n = int(n * 0.75)
    return rest


def _line(times_s: list[float], values: list[float], noise: RangeNoise, limits: Limits) -> Rest:
    """Fit a straight line and weigh its slope against the limits."""
    n = len(times_s)
    t1, y1 = times_s[-1], values[-1]
    xs = [t - t1 for t in times_s]
    ys = [y - y1 for y in values]
    xm, ym = sum(xs) / n, sum(ys) / n
    sxx = sum((x - xm) ** 2 for x in xs)
    slope = sum((x - xm) * y for x, y in zip(xs, ys, strict=True)) / sxx
    residuals = [y - ym - slope * (x - xm) for x, y in zip(xs, ys, strict=True)]
    inflation = noise.inflation
    degrees = noise.weight + max((n - 2) / inflation, 0.5)
    variance = (noise.weight * noise.variance + sum(r * r for r in residuals) / inflation) / degrees
    slope_variance = variance * inflation / sxx
    mean_variance = variance * inflation / n + _SLOW_SHARE**2 * variance
    allowed = limits.share * limits.band
    ahead = (abs(slope) + limits.slope_z * math.sqrt(slope_variance)) * limits.horizon_s
    unrest = max(ahead, math.sqrt(mean_variance)) / allowed
    # The measured slope is shrunk by how well it is known: a slope lost in noise moves the value not at all.
    kept = slope**3 / (slope**2 + slope_variance) if slope else 0.0
    drift = math.hypot(math.sqrt(slope_variance / 2) * xm, kept * 0.5 * limits.horizon_s)
    dithered = _QUANTUM * math.exp(-2 * math.pi**2 * max(variance - 1 / 12, 0.0))
    type_a = math.sqrt(mean_variance)
    combined = math.sqrt(mean_variance + drift**2 + dithered**2)
    return Rest(
        at_rest=unrest <= 1.0,
        unrest=unrest,
        offset=ym + kept * (0.3 * limits.horizon_s - xm),
        points=n,
        type_a=type_a,
        drift=drift,
        quantisation=dithered,
        degrees_of_freedom=degrees,
        expanded=_factor(degrees, dithered, combined) * combined,
        sigma=math.sqrt(variance),
        residuals=residuals,
    )


def _factor(degrees: float, rectangular: float, combined: float) -> float:
    """Coverage factor: Student's t, falling to 0.95·√3 = 1.65 where a rectangular term dominates."""
    share = rectangular / combined
    return 1.65 if share >= 0.9 else student_975(degrees) - 0.31 * share**4
