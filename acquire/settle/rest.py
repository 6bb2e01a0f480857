"""Is a stretch of readings at rest, what is its value, and how sure is that? A pure computation in counts.

Two questions must both say yes. The slope test asks whether the drift, its own uncertainty added, would
stay inside half of the band for a while. The doubt (`acquire.settle.doubt`) asks whether contacts that looked
like this one turned out wrong. It can only hold a report back; it never makes one and never moves the value.

Not for the stream around it (contacts, ranges, overloads): that is `acquire.settle.filter`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from acquire.settle.doubt import HIDES, Doubt, Surroundings, signs
from acquire.settle.points import Points, StraightLine
from acquire.settle.settings import SettleSettings

_QUANTUM = 1.0 / math.sqrt(12.0)  # standard uncertainty of one count: JCGM 100:2008, F.2.2.1
_SHORTEN = 0.75  # each stretch tried is this much shorter than the one before
# A report that the doubt lets pass only just states a width that holds most of those that turn out wrong,
# a sure one the plain 95 %: so the errors that do happen are mostly covered, at the same coverage overall.
_ONLY_JUST = 0.0016
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


@dataclass(slots=True)
class BenchCaution:
    """What was learnt of the bench, as judging needs it: signs, factors on the chance and on the width."""

    signs: list[float]
    caution: float
    widening: float


@dataclass(slots=True)
class Rest:
    """A stretch judged: offsets and uncertainties are in counts, relative to the newest point.

    `wary` is the chance as this bench weighs it.
    """

    line: StraightLine
    offset: float
    drift: float
    quantisation: float
    expanded: float
    chance: float
    wary: float


def student_975(degrees_of_freedom: float) -> float:
    """Two-sided 95 % factor of Student's t; between whole degrees the lower one is used."""
    whole = int(degrees_of_freedom)
    if whole < 1:
        return _T975[0]
    return _T975[whole - 1] if whole <= len(_T975) else 1.96 + 2.5 / degrees_of_freedom


def at_rest(
    points: Points,
    settings: SettleSettings,
    *,
    band: float,
    span_s: float,
    horizon_s: float,
    most_doubt: float,
    around: Surroundings,
    doubt: Doubt,
    bench: BenchCaution,
) -> tuple[float, Rest | None, tuple[StraightLine, float] | None]:
    """Look back over ever shorter stretches until one passes the slope test, and ask the doubt of that one.

    Args:
        points: of this contact and range, at least one.
        settings: with the limits to be kept.
        band: half-width of the band that a settled value keeps, in counts.
        span_s: shortest stretch that counts.
        horizon_s: the drift must keep its share of the band for so long ahead.
        most_doubt: highest chance that the value is off by more than the band.
        around: what was seen before the stretch.
        doubt: the second question.
        bench: what was learnt of it.

    Returns:
        Unrest (1 or less: slope test passed; infinite: too few points), the stretch at rest, if any, and
        the longest one that passed the slope test, with its chance of being off by more than the band.
    """
    count = len(points.times_s)
    newest_s = points.times_s[-1]
    allowed = settings.share * band
    least = math.inf
    while count >= settings.min_conversions and newest_s - points.times_s[-count] >= span_s:
        settling_ratio = abs(points.slope(count)) * horizon_s / allowed
        if settling_ratio <= 1.0:
            line = points.line(count)
            ahead = abs(line.slope) + settings.slope_z * math.sqrt(line.slope_variance)
            settling_ratio = max(ahead * horizon_s, math.sqrt(line.mean_variance)) / allowed
            if settling_ratio <= 1.0:
                break
        least = min(least, settling_ratio)
        count = int(count * _SHORTEN)
    else:
        return least, None, None
    chance, width, far = doubt(signs(points, line, band, around, bench.signs))
    likely = bench.caution * chance
    wary = likely * (HIDES if line.variance < 1.0 else 1.0)
    if wary > most_doubt:
        return settling_ratio, None, (line, chance)
    half_width = bench.widening * width * band
    if likely > _ONLY_JUST:
        half_width = max(half_width, far * max(bench.widening, 1.0) * band)
    return (
        settling_ratio,
        _rest(line, horizon_s, half_width, widening=max(bench.widening, 1.0), chance=chance, wary=wary),
        (line, chance),
    )


def _rest(
    line: StraightLine, horizon_s: float, half_width: float, *, widening: float, chance: float, wary: float
) -> Rest:
    """Value and uncertainty of a stretch that passed."""
    squared = line.slope**2
    # The measured slope is shrunk by how well it is known: a slope lost in noise moves the value not at all.
    kept = line.slope * squared / (squared + line.slope_variance) if squared else 0.0
    quantisation = _QUANTUM * math.exp(-2 * math.pi**2 * max(line.variance - 1 / 12, 0.0))
    settled = math.hypot(math.sqrt(line.mean_variance), quantisation)
    drift = abs(kept) * 0.5 * horizon_s
    combined = math.hypot(settled, drift)
    factor = _factor(line.degrees, quantisation, combined)
    half_width = max(half_width, widening * factor * combined)
    if half_width > factor * combined:  # contacts like this one drifted further than the line admits
        combined = half_width / factor
        drift = math.sqrt(combined**2 - settled**2)
    return Rest(
        line=line,
        offset=line.mean - kept * line.mean_s,
        drift=drift,
        quantisation=quantisation,
        expanded=factor * combined,
        chance=chance,
        wary=wary,
    )


def _factor(degrees: float, rectangular: float, combined: float) -> float:
    """Coverage factor: Student's t, falling to 0.95 x root 3 = 1.65 where a rectangular term dominates."""
    share = rectangular / combined
    return 1.65 if share >= 0.9 else student_975(degrees) - 0.31 * share**4
