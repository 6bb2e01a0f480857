"""The readings of one contact that may count together, with running sums: a straight line costs a few sums.

Not for judging: sums, lines and scatter are all it knows.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass

from drivers.reading import Flag

MOST_POINTS = 64  # five seconds of a fast meter in blocks of 80 ms; more than a slow one needs
_REBASE_S = 60.0  # running sums start anew after this long: differences of large sums lose digits
_NOTHING = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@dataclass(slots=True)
class Line:
    """A straight line through the newest points, in counts; times count back from the newest point (<= 0)."""

    points: int
    span_s: float
    mean_s: float
    mean: float
    sxx: float
    slope: float
    squares: float


class Points:
    """Averaged conversions in one range, in counts relative to the first of them.

    `_sums` holds, before and after each point, the sums of t, y, t t, t y, y y and of squared steps.
    """

    __slots__ = (
        "_sums",
        "block",
        "conversions",
        "count_si",
        "flags",
        "mixed",
        "times_s",
        "values",
        "zero_s",
        "zero_si",
    )

    def __init__(self, count_si: float) -> None:
        self.count_si = count_si
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
        if count == 1:
            time_s, value_si = self.block[0]
        else:
            time_s = sum(t for t, _ in self.block) / count
            value_si = sum(v for _, v in self.block) / count
        self.block.clear()
        self.add(time_s, value_si, count)
        return value_si

    def add(self, time_s: float, value_si: float, conversions: int) -> None:
        """Take one point."""
        if not self.times_s:
            self.zero_s, self.zero_si = time_s, value_si
        elif time_s - self.zero_s > _REBASE_S:
            self.keep_newest(MOST_POINTS)
        self._append(time_s, (value_si - self.zero_si) / self.count_si, conversions)
        if len(self.times_s) > MOST_POINTS:
            self._drop(1)

    def _append(self, time_s: float, y: float, conversions: int) -> None:
        t = time_s - self.zero_s
        step = y - self.values[-1] if self.values else 0.0
        st, sy, stt, sty, syy, steps = self._sums[-1]
        self._sums.append((st + t, sy + y, stt + t * t, sty + t * y, syy + y * y, steps + step * step))
        self.times_s.append(time_s)
        self.values.append(y)
        self.conversions.append(conversions)

    def value_si(self, counts: float) -> float:
        """A value in counts relative to the newest point, in SI units."""
        return self.zero_si + (self.values[-1] + counts) * self.count_si

    def value_of(self, counts: float) -> float:
        """A value in counts relative to the first point, in SI units."""
        return self.zero_si + counts * self.count_si

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

    def line(self, points: int) -> Line:
        """Least squares through the newest points, at least two of them at different times."""
        st1, sy1, stt1, sty1, syy1, _ = self._sums[-1]
        st0, sy0, stt0, sty0, syy0, _ = self._sums[-1 - points]
        st, sy = st1 - st0, sy1 - sy0
        mean_s, mean = st / points, sy / points
        sxx = stt1 - stt0 - st * mean_s
        sxy = sty1 - sty0 - sy * mean_s
        slope = sxy / sxx
        squares = max(syy1 - syy0 - sy * mean - slope * sxy, 0.0)
        newest_s = self.times_s[-1]
        return Line(
            points,
            newest_s - self.times_s[-points],
            mean_s - (newest_s - self.zero_s),
            mean - self.values[-1],
            sxx,
            slope,
            squares,
        )

    def mean_before(self, points: int) -> float | None:
        """Mean of as many points again before the newest, in counts relative to the newest; None: too few."""
        count = len(self.times_s)
        before = min(points, count - points)
        if before < max(3, points // 2):
            return None
        return self.mean_of(count - points - before, count - points) - self.values[-1]

    def bend(self, points: int) -> float:
        """How far the middle third of the newest points hangs below the outer thirds, in counts."""
        third, last = points // 3, len(self.values)
        newest, oldest = self.mean_of(last - third, last), self.mean_of(last - points, last - points + third)
        return (newest + oldest) / 2 - self.mean_of(last - points + third, last - third)

    def start(self) -> float:
        """Mean of the first three points of the window, in counts relative to the newest."""
        return self.mean_of(0, min(3, len(self.values))) - self.values[-1]

    def scatter(self, points: int, back_s: float) -> tuple[float, float]:
        """Scatter from point to point, and about the mean, of the newest points.

        Args:
            points: at least so many are looked at.
            back_s: and all that are not older than this.

        Returns:
            Root of half the mean squared step between neighbours, and standard deviation; counts.
        """
        count = max(points, len(self.times_s) - bisect_left(self.times_s, self.times_s[-1] - back_s))
        newest, first, before = self._sums[-1], self._sums[-count], self._sums[-count - 1]
        steps = newest[5] - first[5]
        spread = max((newest[4] - before[4]) / count - ((newest[1] - before[1]) / count) ** 2, 0.0)
        return math.sqrt(max(steps, 0.0) / (2 * max(count - 1, 1))), math.sqrt(spread)

    def one_way(self, back_s: float) -> tuple[float, float]:
        """How far the value went, as a multiple of the root of its squared steps: 0 to and fro, 1 one step.

        Returns:
            Of the points not older than `back_s`, and of all but the first two.
        """
        values, sums = self.values, self._sums
        last = len(values) - 1
        recent = bisect_left(self.times_s, self.times_s[-1] - back_s)
        ways = (
            abs(values[last] - values[k]) / math.sqrt(sums[-1][5] - sums[k + 1][5] + 1e-3)
            for k in (recent, min(2, last))
        )
        return next(ways), next(ways)

    def residuals(self, line: Line) -> list[float]:
        """What the line leaves of its points, oldest first, in counts."""
        t1, y1 = self.times_s[-1], self.values[-1]
        newest = zip(self.times_s[-line.points :], self.values[-line.points :], strict=True)
        return [(y - y1) - line.mean - line.slope * ((t - t1) - line.mean_s) for t, y in newest]

    def keep_newest(self, points: int) -> None:
        """Forget all but the newest points, and count from the first of those."""
        kept = list(zip(self.times_s, self.values, self.conversions, strict=True))[-points:]
        zero_s, zero, _ = kept[0]
        zero_si = self.value_of(zero)
        self._empty()
        self.zero_s, self.zero_si = zero_s, zero_si
        for time_s, y, conversions in kept:
            self._append(time_s, y - zero, conversions)

    def trim(self, window_s: float) -> None:
        """Drop what is older than the window."""
        oldest_s = self.times_s[-1] - window_s
        if self.times_s[0] < oldest_s:
            self._drop(bisect_left(self.times_s, oldest_s))

    def _drop(self, points: int) -> None:
        """Drop the oldest points; running sums are differences, so they stay right."""
        del self.times_s[:points], self.values[:points], self.conversions[:points], self._sums[:points]
