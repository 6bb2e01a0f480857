"""How often contacts that looked like this one turned out wrong, learnt from simulated contacts.

Physics says what to look at (`signs`): drift, its uncertainty, scatter, how far and how long ago the value
moved, whether it went one way. How much each of them matters is a small network of one
hidden layer, whose weights (`acquire.settle.weights`) come from contacts with a known truth:
`python -m tests.benchmarks.settle --learn`. Its answer can only hold a report back or widen its
uncertainty.

Not for deciding what the value is: no sign carries the size of the value, only ratios to the band.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from operator import mul

from acquire.settle import weights
from acquire.settle.points import Points, StraightLine

Doubt = Callable[[list[float]], tuple[float, float, float]]
"""Signs to (chance that the value is off by more than the band, half-width of 95 % in bands, and the
half-width that holds most of those that are off)."""

HISTORY_LENGTH = 40
_HISTORY_STEP_S = 0.35  # with the length: 14 s, longer than contacts creep
_BACK_S = 4.0  # scatter is looked at over this long
_FAR = 3.0  # bands; when the value was last further away than this
MEGOHM_OHM = 5e6  # above this an ohms reading is insulation, which creeps (absorption); IEEE 43, from memory
HIDES = 4.0  # noise below a count: the display hides creep, and the same chance weighs more
_NO_OHMS_BAND = 0.1  # stands in where the band is not in ohms: the middle of the contacts learnt from


@dataclass(slots=True)
class Surroundings:
    """What was seen before the stretch.

    Attributes:
        history: thinned points of the whole contact, oldest first: (monotonic s, value in SI units).
        contact_s: monotonic time of the contact.
        ohms: whether the value is a resistance, so that sizes in ohms mean something.
        next_s: time of the next point to keep.
    """

    history: deque[tuple[float, float]]
    contact_s: float
    ohms: bool
    next_s: float = -math.inf

    def remember(self, time_s: float, value_si: float) -> None:
        """Keep a thinned record of the whole contact, across its ranges: to be called from `next_s` on."""
        self.history.append((time_s, value_si))
        self.next_s = time_s + _HISTORY_STEP_S


def signs(
    points: Points, line: StraightLine, band: float, around: Surroundings, bench: list[float]
) -> list[float]:
    """What a stretch shows, in bands and seconds, mostly as logarithms.

    Args:
        points: the stretch is their newest part.
        line: through the stretch.
        band: in counts.
        around: what came before.
        bench: what the contacts of this bench were like (`acquire.settle.learning.signs_of`).

    Returns:
        As many numbers as a row of `weights.HIDDEN` has.
    """
    log, sqrt = math.log, math.sqrt
    slope = abs(line.slope) / band
    newest_s = points.times_s[-1]
    way = 1.0 if line.slope > 0 else -1.0
    start = way * (points.start() - line.mean) / band
    older, newer = points.thirds()
    jump, spread = points.scatter(line.points, _BACK_S)
    band_si = band * points.count_si
    travel, lately = _travel(around.history, points.value_si(line.mean), band_si, newest_s)
    return [
        slope,
        log(slope + 0.01),
        log(sqrt(line.slope_variance) / band + 0.001),
        log(sqrt(line.mean_variance) / band + 0.001),
        log(line.span_s + 0.001),
        log(len(points.times_s)),
        max(min(start, 3.0), -3.0),
        log(jump / band + 0.01),
        log(spread / band + 0.01),
        log(travel + 0.05),
        lately,
        log(band_si if around.ohms else _NO_OHMS_BAND),
        1.0 if around.ohms and abs(points.value_si(0.0)) > MEGOHM_OHM else 0.0,
        log(sqrt(line.variance) / band + 0.01),
        log(sqrt(line.squares / max(line.points - 2, 1)) / band + 0.01),
        log(max(newest_s - around.contact_s, 0.0) + 0.1),
        points.one_way(2),
        max(min(way * older / band, 3.0), -3.0),
        max(min(way * newer / band, 3.0), -3.0),
        way * min(slope, 1.0) if around.ohms else 0.0,
        *bench,
    ]


def _travel(
    history: deque[tuple[float, float]], value_si: float, band_si: float, now_s: float
) -> tuple[float, float]:
    """How far the contact was from its present value at most, in bands; how lately it was far away.

    Lateness is 1 / (1 s + age): 1 for just now, near 0 for never.
    """
    far_si, most_si, lately = _FAR * band_si, 0.0, 0.01
    for time_s, then_si in history:
        away_si = abs(then_si - value_si)
        if away_si > far_si:
            lately = 1.0 / (1.0 + now_s - time_s)
        most_si = max(most_si, away_si)
    return most_si / band_si, lately


def ask(seen: list[float]) -> tuple[float, float, float]:
    """Put the signs to the network.

    Returns:
        Chance that the value is off by more than the band; the half-widths in bands that hold 95 % of all
        and most of those that are off.
    """
    tanh = math.tanh
    hidden = [tanh(sum(map(mul, row, seen), bias)) for row, bias in weights.HIDDEN]
    odds, width, far = (sum(map(mul, row, hidden), bias) for row, bias in weights.ANSWERS)
    return 1.0 / (1.0 + math.exp(min(-odds, 50.0))), math.exp(width), 1.0 + math.exp(far)
