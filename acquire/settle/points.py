"""The readings of one contact that may count together, with running sums: a straight line costs a few sums.

A line's uncertainties know the meter's noise. Not for judging whether it is flat enough: that is `rest`.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass

from acquire.settle.noise import RangeNoise
from drivers.reading import Flag

MOST_POINTS = 64  # five seconds of a fast meter in blocks of 80 ms; more than a slow one needs
_REBASE_S = 60.0  # running sums start anew after this long: differences of large sums lose digits
_NOTHING = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
_SLOW_SHARE = 0.3  # slow part of a meter's noise that averaging does not lower; simulated readings


@dataclass(slots=True)
class StraightLine:
    """A straight line through the newest points, in counts; times count back from the newest point (<= 0).

    Attributes:
        squares: sum of what the line leaves of its points, squared.
        variance, slope_variance, mean_variance: of one point, of the slope and of the mean, the noise known
            before taken in.
        degrees: of freedom of these.
    """

    points: int
    span_s: float
    mean_s: float
    mean: float
    slope: float
    squares: float
    variance: float
    slope_variance: float
    mean_variance: float
    degrees: float


class Points:
    """Averaged conversions in one range, in counts relative to the first of them.

    `noise` is the prior belief on the scatter of one of them.
    `_sums` holds, before and after each point, the sums of t, y, t t, t y, y y and of squared steps.
    """

    __slots__ = (
        "_sums",
        "block",
        "conversions",
        "count_si",
        "flags",
        "mixed",
        "noise",
        "times_s",
        "values",
        "zero_s",
        "zero_si",
    )

    def __init__(self, count_si: float, noise: RangeNoise) -> None:
        self.count_si, self.noise = count_si, noise
        self.block: list[tuple[float, float]] = []
        self.flags: set[Flag] = set()
        self.mixed = True  # the next reading's integration straddles a touch or a change of range
        self._empty()

    def _empty(self) -> None:
        """Start without a point."""
        self.times_s: list[float] = []
        self.values: list[float] = []
        self.conversions: list[int] = []
        self._sums = [_NOTHING]
        self.zero_s = self.zero_si = 0.0

    def close_block(self) -> float:
        """Turn the block into one point and return its value in SI units."""
        count = len(self.block)
        time_s = sum(t for t, _ in self.block) / count
        value_si = sum(v for _, v in self.block) / count
        self.block.clear()
        self.add(time_s, value_si, count)
        return value_si

    def add(self, time_s: float, value_si: float, conversions: int) -> None:
        """Take one point."""
        times_s, values, sums = self.times_s, self.values, self._sums
        if not times_s:
            self.zero_s, self.zero_si = time_s, value_si
        elif time_s - self.zero_s > _REBASE_S:
            self.keep_newest(MOST_POINTS)
            times_s, values, sums = self.times_s, self.values, self._sums
        t, y = time_s - self.zero_s, (value_si - self.zero_si) / self.count_si
        step = y - values[-1] if values else 0.0
        st, sy, stt, sty, syy, steps = sums[-1]
        sums.append((st + t, sy + y, stt + t * t, sty + t * y, syy + y * y, steps + step * step))
        times_s.append(time_s)
        values.append(y)
        self.conversions.append(conversions)
        if len(times_s) > MOST_POINTS:
            self._drop(1)

    def value_si(self, counts: float) -> float:
        """A value in counts relative to the newest point, in SI units."""
        return self.zero_si + (self.values[-1] + counts) * self.count_si

    def mean_of(self, first: int, last: int) -> float:
        """Mean of the points from one index up to another, in counts relative to the first point."""
        return (self._sums[last][1] - self._sums[first][1]) / (last - first)

    def slope(self, points: int) -> float:
        """Slope of the straight line through the newest points, in counts per second."""
        st1, sy1, stt1, sty1, _, _ = self._sums[-1]
        st0, sy0, stt0, sty0, _, _ = self._sums[-1 - points]
        st = st1 - st0
        mean_s = st / points
        return (sty1 - sty0 - (sy1 - sy0) * mean_s) / (stt1 - stt0 - st * mean_s)

    def line(self, points: int) -> StraightLine:
        """Least squares through the newest points, with its uncertainties.

        Those come from prior noise, the line's own scatter and lag-1 correlation: the effective number of
        readings is n (1 - rho) / (1 + rho), the large-n form for an AR(1) sequence.

        Args:
            points: at least 3, at different times.
        """
        st1, sy1, stt1, sty1, syy1, _ = self._sums[-1]
        st0, sy0, stt0, sty0, syy0, _ = self._sums[-1 - points]
        st, sy = st1 - st0, sy1 - sy0
        mean_s, mean = st / points, sy / points
        sxx = stt1 - stt0 - st * mean_s
        sxy = sty1 - sty0 - sy * mean_s
        slope = sxy / sxx
        squares = max(syy1 - syy0 - sy * mean - slope * sxy, 0.0)
        newest_s, noise, inflation = self.times_s[-1], self.noise, self.noise.inflation
        degrees = noise.weight + max((points - 2) / inflation, 0.5)
        variance = (noise.weight * noise.variance + squares / inflation) / degrees
        return StraightLine(
            points,
            newest_s - self.times_s[-points],
            mean_s - (newest_s - self.zero_s),
            mean - self.values[-1],
            slope,
            squares,
            variance,
            variance * inflation / sxx,
            variance * inflation / points + _SLOW_SHARE**2 * variance,
            degrees,
        )

    def start(self) -> float:
        """Mean of the first three points of the window, in counts relative to the newest."""
        return self.mean_of(0, min(3, len(self.values))) - self.values[-1]

    def thirds(self) -> tuple[float, float]:
        """How far the mean moved from the oldest third of the window to the middle one, and on; counts."""
        count, third = len(self.values), len(self.values) // 3
        middle = self.mean_of(third, 2 * third)
        return middle - self.mean_of(0, third), self.mean_of(count - third, count) - middle

    def scatter(self, points: int, back_s: float) -> tuple[float, float]:
        """Scatter from point to point, and about the mean, of the newest points.

        Args:
            points: at least so many are looked at.
            back_s: and all that are not older than this.

        Returns:
            Root of half the mean squared step between neighbours, and standard deviation; counts.
        """
        count = max(points, len(self.times_s) - self.since(back_s))
        newest, first, before = self._sums[-1], self._sums[-count], self._sums[-count - 1]
        steps = newest[5] - first[5]
        spread = max((newest[4] - before[4]) / count - ((newest[1] - before[1]) / count) ** 2, 0.0)
        return math.sqrt(max(steps, 0.0) / (2 * max(count - 1, 1))), math.sqrt(spread)

    def since(self, back_s: float) -> int:
        """Index of the oldest point that is not older than this."""
        return bisect_left(self.times_s, self.times_s[-1] - back_s)

    def one_way(self, first: int) -> float:
        """How far the value went since a point, as a multiple of the root of its squared steps.

        Returns:
            0: back and forth; 1: one step; more: one way. 0 where there is no such point.
        """
        if first >= len(self.values):
            return 0.0
        steps = self._sums[-1][5] - self._sums[first + 1][5]
        return abs(self.values[-1] - self.values[first]) / math.sqrt(steps + 1e-3)

    def moved_si(self) -> float:
        """How far the newest point is from the third, in SI units."""
        return abs(self.values[-1] - self.values[min(2, len(self.values) - 1)]) * self.count_si

    def lag(self, line: StraightLine) -> float:
        """Lag-1 autocorrelation of what the line leaves of its points, from the sum of their squared steps.

        Von Neumann's ratio; the steps of the line itself are taken off as if the points were evenly spaced.
        """
        if line.squares <= 0:
            return 0.0
        steps = self._sums[-1][5] - self._sums[-line.points][5]
        first = self.values[-line.points] - self.values[-1]
        each_s = line.span_s / (line.points - 1)
        steps += line.slope * each_s * (2.0 * first + line.slope * line.span_s)
        oldest = first - line.mean + line.slope * (line.span_s + line.mean_s)
        newest = line.slope * line.mean_s - line.mean
        return 1.0 - (oldest * oldest + newest * newest + steps) / (2.0 * line.squares)

    def keep_newest(self, points: int) -> None:
        """Forget all but the newest points, and count from the first of those."""
        kept = list(zip(self.times_s, self.values, self.conversions, strict=True))[-points:]
        zero_si = self.zero_si
        self._empty()
        for time_s, y, conversions in kept:
            self.add(time_s, zero_si + y * self.count_si, conversions)

    def drop_newest(self) -> None:
        """Forget the newest point, if there is one."""
        del (
            self.times_s[-1:],
            self.values[-1:],
            self.conversions[-1:],
            self._sums[max(len(self._sums) - 1, 1) :],
        )

    def trim(self, window_s: float) -> None:
        """Drop what is older than the window."""
        oldest_s = self.times_s[-1] - window_s
        if self.times_s[0] < oldest_s:
            self._drop(bisect_left(self.times_s, oldest_s))

    def _drop(self, points: int) -> None:
        """Drop the oldest points; running sums are differences, so they stay right."""
        del self.times_s[:points], self.values[:points], self.conversions[:points], self._sums[:points]
