"""What a workshop does without a filter: four plain rules, with the same treatment of contact, range and
repeats.

fixed: one reading, 2 s after contact. equal: five readings within one count or 0.05 %. spread: standard
deviation of six readings (and at least 1 s). slope: a growing straight line whose drift over 1.5 s stays
inside one count or 0.067 %. Each reports once a contact and looks again when the reading leaves the
report by 0.75 band.
"""

from __future__ import annotations

import math
import statistics
from collections import deque

from .scoring import Detection

_STUDENT = (12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23)  # JCGM 100:2008, table G.2


def student(degrees):
    return _STUDENT[degrees - 1] if degrees <= len(_STUDENT) else 1.96 + 2.5 / degrees


class Plain:
    """Contact, range and repeats; `decide` is the rule."""

    longest = 1

    def __init__(self):
        self.window = deque(maxlen=self.longest)
        self.range = self.contact_s = self.last = self.step_s = self.reported = None
        self.away, self.skip = 0, True

    def feed(self, t, value, full_scale, count):
        if self.last is not None:
            step_s = t - self.last[0]
            if self.step_s is not None and step_s < 0.4 * self.step_s and value == self.last[1]:
                return None
            self.step_s = (
                step_s
                if self.step_s is None
                else self.step_s + 0.1 * (min(step_s, 2 * self.step_s) - self.step_s)
            )
        self.last = (t, value)
        if value is None or full_scale != self.range:
            self._start(full_scale)
        if value is None:
            return None
        if self.contact_s is None:
            self.contact_s = t
        if self.skip:  # its integration straddles the touch
            self.skip = False
            return None
        if self.reported is not None and not self._left(value, count):
            return None
        self.window.append((t, value))
        out = self.decide(t, count)
        if out is not None:
            self.reported = out.value
        return out

    def _start(self, full_scale):
        self.range, self.reported, self.contact_s, self.skip = full_scale, None, None, True
        self.window.clear()

    def _left(self, value, count):
        far = abs(value - self.reported) > 0.75 * max(3 * count, 0.002 * abs(value))
        self.away = self.away + 1 if far else 0
        if self.away < 2:
            return False
        self.away, self.reported, self.contact_s = 0, None, self.last[0]
        self.window.clear()
        return True

    def _mean(self, t, count):
        values = [v for _, v in self.window]
        n, s = len(values), statistics.stdev(values)
        return Detection(t, sum(values) / n, math.hypot(student(n - 1) * s / math.sqrt(n), 0.58 * count))


class Fixed(Plain):
    delay_s = 2.0

    def decide(self, t, count):
        return Detection(t, self.window[-1][1], count) if t - self.contact_s >= self.delay_s else None


class Equal(Plain):
    longest = 5

    def decide(self, t, count):
        values = [v for _, v in self.window]
        if len(values) < self.longest:
            return None
        allowed = max(1.001 * count, 0.0005 * abs(values[-1]))
        return self._mean(t, count) if max(values) - min(values) <= allowed else None


class Spread(Plain):
    longest = 128
    least_s = 1.0

    def decide(self, t, count):
        while len(self.window) > 6 and t - self.window[1][0] >= self.least_s:
            self.window.popleft()
        if len(self.window) < 6 or t - self.window[0][0] < self.least_s:
            return None
        values = [v for _, v in self.window]
        return (
            self._mean(t, count)
            if statistics.stdev(values) <= max(0.6 * count, 0.0004 * abs(values[-1]))
            else None
        )


class Slope(Plain):
    longest = 64
    horizon_s = 1.5

    def decide(self, t, count):
        n = len(self.window)
        first = max(5, min(round(1.0 / (self.step_s or 1.0)), 48))
        for m in range(first, n + 1, max(first // 2, 1)):
            found = self._line(list(self.window)[-m:], t, count)
            if found is not None:
                return found
        return None

    def _line(self, points, t, count):
        m = len(points)
        xm, ym = sum(p[0] for p in points) / m, sum(p[1] for p in points) / m
        sxx = sum((p[0] - xm) ** 2 for p in points)
        slope = sum((p[0] - xm) * (p[1] - ym) for p in points) / sxx
        squares = sum((p[1] - ym - slope * (p[0] - xm)) ** 2 for p in points)
        variance = (squares + 2 * (0.3 * count) ** 2) / m
        limit = max(count, 0.00067 * abs(ym))
        half = student(m) * math.sqrt(variance / m)
        if (abs(slope) + math.sqrt(variance / sxx)) * self.horizon_s > limit or half > limit:
            return None
        return Detection(t, ym, math.hypot(half, 0.58 * count))


BASELINES = {"fixed 2 s": Fixed, "5 equal": Equal, "spread": Spread, "slope": Slope}


def detect(rule, trace):
    """All detections of one rule in one trace."""
    run = rule()
    found = (run.feed(t, v, full_scale, count) for t, v, full_scale, count in trace.readings)
    return [d for d in found if d is not None]
