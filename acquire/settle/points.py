"""The readings of one contact that may count together, with running sums: a straight line costs a few sums.

Not for judging: sums, lines and scatter are all it knows.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass
from itertools import accumulate

from drivers.reading import Flag

MOST_POINTS = 64  # five seconds of a fast meter in blocks of 80 ms; more than a slow one needs
_REBASE_S = 60.0  # running sums start anew after this long: differences of large sums lose digits


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
    """Averaged conversions in one range, in counts relative to the first of them."""

    __slots__ = (
        "_jumps",
        "_st",
        "_stt",
        "_sty",
        "_sy",
        "_syy",
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
        self._st, self._sy, self._stt, self._sty, self._syy = [0.0], [0.0], [0.0], [0.0], [0.0]
        self._jumps = [0.0]
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
        t = time_s - self.zero_s
        y = (value_si - self.zero_si) / self.count_si
        jump = y - self.values[-1] if self.values else 0.0
        self.times_s.append(time_s)
        self.values.append(y)
        self.conversions.append(conversions)
        self._st.append(self._st[-1] + t)
        self._sy.append(self._sy[-1] + y)
        self._stt.append(self._stt[-1] + t * t)
        self._sty.append(self._sty[-1] + t * y)
        self._syy.append(self._syy[-1] + y * y)
        self._jumps.append(self._jumps[-1] + jump * jump)
        if len(self.times_s) > MOST_POINTS:
            self._drop(1)

    def value_si(self, counts: float) -> float:
        """A value in counts relative to the newest point, in SI units."""
        return self.zero_si + (self.values[-1] + counts) * self.count_si

    def line(self, points: int) -> Line:
        """Least squares through the newest points, at least two of them at different times."""
        t1 = self.times_s[-1] - self.zero_s
        before = -points - 1
        st = self._st[-1] - self._st[before]
        sy = self._sy[-1] - self._sy[before]
        mean_t, mean_y = st / points, sy / points
        sxx = self._stt[-1] - self._stt[before] - st * mean_t
        sxy = self._sty[-1] - self._sty[before] - st * mean_y
        syy = self._syy[-1] - self._syy[before] - sy * mean_y
        slope = sxy / sxx
        span_s = self.times_s[-1] - self.times_s[-points]
        squares = max(syy - slope * sxy, 0.0)
        return Line(points, span_s, mean_t - t1, mean_y - self.values[-1], sxx, slope, squares)

    def mean_before(self, points: int) -> float | None:
        """Mean of as many points again before the newest, in counts relative to the newest; None: too few."""
        before = min(points, len(self.times_s) - points)
        if before < max(3, points // 2):
            return None
        return (self._sy[-points - 1] - self._sy[-points - before - 1]) / before - self.values[-1]

    def bend(self, points: int) -> float:
        """How far the middle third of the newest points hangs below the outer thirds, in counts."""
        third = points // 3
        sums = self._sy
        newest = sums[-1] - sums[-1 - third]
        oldest = sums[-1 - points + third] - sums[-1 - points]
        middle = sums[-1 - third] - sums[-1 - points + third]
        return (newest + oldest) / (2 * third) - middle / (points - 2 * third)

    def start(self) -> float:
        """Mean of the first three points of the window, in counts relative to the newest."""
        first = min(3, len(self.values))
        return (self._sy[first] - self._sy[0]) / first - self.values[-1]

    def scatter(self, points: int, back_s: float) -> tuple[float, float]:
        """Scatter from point to point, and about the mean, of the newest points.

        Args:
            points: at least so many are looked at.
            back_s: and all that are not older than this.

        Returns:
            Root of half the mean squared jump between neighbours, and standard deviation; counts.
        """
        count = max(points, len(self.times_s) - bisect_left(self.times_s, self.times_s[-1] - back_s))
        jumps = self._jumps[-1] - self._jumps[-count]
        sy = self._sy[-1] - self._sy[-count - 1]
        syy = self._syy[-1] - self._syy[-count - 1]
        spread = max(syy / count - (sy / count) ** 2, 0.0)
        return math.sqrt(max(jumps, 0.0) / (2 * max(count - 1, 1))), math.sqrt(spread)

    def residuals(self, line: Line) -> list[float]:
        """What the line leaves of its points, oldest first, in counts."""
        t1, y1 = self.times_s[-1], self.values[-1]
        newest = zip(self.times_s[-line.points :], self.values[-line.points :], strict=True)
        return [(y - y1) - line.mean - line.slope * ((t - t1) - line.mean_s) for t, y in newest]

    def keep_newest(self, points: int) -> None:
        """Forget all but the newest points, and count from the first of those."""
        zero_si, count_si = self.zero_si, self.count_si
        kept = list(zip(self.times_s, self.values, self.conversions, strict=True))[-points:]
        self._empty()
        self.zero_s, self.zero_si = kept[0][0], zero_si + kept[0][1] * count_si
        first = kept[0][1]
        self.times_s = [t for t, _, _ in kept]
        self.values = [y - first for _, y, _ in kept]
        self.conversions = [c for _, _, c in kept]
        ages = [t - self.zero_s for t in self.times_s]
        pairs = list(zip(ages, self.values, strict=True))
        self._st = [0.0, *accumulate(ages)]
        self._sy = [0.0, *accumulate(self.values)]
        self._stt = [0.0, *accumulate(t * t for t in ages)]
        self._sty = [0.0, *accumulate(t * y for t, y in pairs)]
        self._syy = [0.0, *accumulate(y * y for y in self.values)]
        jumps = [0.0, *(b - a for a, b in zip(self.values, self.values[1:], strict=False))]
        self._jumps = [0.0, *accumulate(j * j for j in jumps)]

    def trim(self, window_s: float) -> None:
        """Drop what is older than the window."""
        oldest_s = self.times_s[-1] - window_s
        if self.times_s[0] < oldest_s:
            self._drop(bisect_left(self.times_s, oldest_s))

    def _drop(self, points: int) -> None:
        """Drop the oldest points; running sums are differences, so they stay right."""
        del self.times_s[:points], self.values[:points], self.conversions[:points]
        del self._st[:points], self._sy[:points], self._stt[:points]
        del self._sty[:points], self._syy[:points], self._jumps[:points]
