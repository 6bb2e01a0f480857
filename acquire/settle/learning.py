"""A bench learns its own world: what comes after a value was stated tells how wrong it was.

Two rules, both pure. The stated uncertainty is steered by adaptive conformal inference (Gibbs and Candès
2021, update (2); here on the logarithm of the width): a miss widens it by far more than a hit narrows it, so
that in the long run misses are the wanted share whatever the contacts do. The doubt's chance is scaled by
wrong reports per expected ones, a Poisson rate with a Gamma prior (JCGM 101 has no case of it; textbook, from
memory). Beside them stand statistics of the contacts, which the doubt takes as signs.

Not for the value: nothing that is learnt moves it.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass

from acquire.records.settled import Learned
from acquire.settle.noise import RangeNoise
from acquire.settle.points import Points

WANTED_MISSES = 0.05
_STEP, _FIRST_STEPS = 0.08, 12.0  # of the logarithm of the width; the first contacts count up to twice
_NARROWEST, _WIDEST = 0.5, 8.0
_MEMORY = 60.0  # contacts; older ones fade
_PRIOR_CONTACTS = 5.0  # weight of what a new bench is taken for
_PRIOR_WRONG = 0.25  # wrong reports, and expected ones, granted beforehand
_MOVED_BANDS, _OTHER_PIN_BANDS = 0.5, 30.0
_LEAST_AFTER_S, _LEAST_POINTS = 0.8, 4
_JUMP_BANDS, _JUMP_SIGMAS = 0.7, 5.0
_GOES_ON, _MOST_ON = 0.5, 4.0
_SLOW_SHARE_SQUARED = 0.09


@dataclass(slots=True)
class Statement:
    """A value that the rest of the contact is held against.

    Attributes:
        half_si: stated half-width of 95 %; 0: a look, not a report.
        chance: of being off by more than the band, as the doubt saw it before the bench's own factor.
    """

    time_s: float
    value_si: float
    band_si: float
    half_si: float = 0.0
    chance: float = 0.0


def caution(learned: Learned) -> float:
    """Factor on the doubt's chance."""
    return (_PRIOR_WRONG + learned.wrong) / (_PRIOR_WRONG + learned.expected)


def signs_of(learned: Learned) -> list[float]:
    """What the doubt takes into account of the bench."""
    return [learned.restless, learned.moved, 10.0 * learned.trend, math.log(1.0 + min(learned.contacts, _MEMORY))]


@dataclass(slots=True)
class After:
    """Where a value went: end and its standard uncertainty, and how far it moved of late, in SI units."""

    value_si: float
    sigma_si: float
    moving_si: float


def after(points: Points, stated: Statement, contact_s: float, noise: RangeNoise) -> After | None:
    """Where the value crept after an instant, up to a jump if there is one: a slip proves nothing wrong.

    Returns:
        None: too little came after.
    """
    first = bisect_right(points.times_s, stated.time_s)
    variance = noise.variance * noise.inflation
    jump = max(_JUMP_BANDS * stated.band_si / points.count_si, _JUMP_SIGMAS * math.sqrt(noise.variance))
    values = points.values
    last = len(values) - 1  # the newest point may hold the probes' leaving
    last = next((k for k in range(max(first, 1), last) if abs(values[k] - values[k - 1]) > jump), last)
    count = last - first
    if count < _LEAST_POINTS or points.times_s[last - 1] - points.times_s[first] < _LEAST_AFTER_S:
        return None
    middle = first + count // 2
    moving = points.mean_of(middle, last) - points.mean_of(first, middle)
    passed_s = 0.5 * (points.times_s[last - 1] - points.times_s[first])
    # A creep goes on for about as long as it has lasted, if it is one: its square against that of the noise.
    real = moving * moving / (moving * moving + 4.0 * variance / (count // 2) + 1e-12)
    tail = real * moving * min(_GOES_ON * (points.times_s[last] - contact_s) / passed_s, _MOST_ON)
    spread = variance / (last - middle) + _SLOW_SHARE_SQUARED * noise.variance + (0.5 * tail) ** 2
    rounding = math.exp(-4 * math.pi**2 * max(noise.variance - 1 / 12, 0.0)) / 12
    return After(
        points.value_of(points.mean_of(middle, last) + tail),
        math.sqrt(spread + rounding) * points.count_si,
        moving * points.count_si,
    )


def outside(off: float, sigma: float, half: float) -> float:
    """Chance that a normal variable about `off` lies outside of +-half."""
    scale = sigma * math.sqrt(2.0)
    return 0.5 * (math.erfc((half - off) / scale) + math.erfc((half + off) / scale))


def taught(
    learned: Learned,
    look: Statement,
    stated: Statement | None,
    end: After,
    end_stated: After | None,
    crept_s: float,
) -> Learned:
    """Take in one contact.

    Args:
        learned: so far.
        look: the first stretch that the slope test let pass.
        stated: the first report, if there was one.
        end: where the value went after the look.
        end_stated: and after the report; None: too little came after it.
        crept_s: how long after the contact the value was last half a band away from there.
    """
    far = abs(end.value_si - look.value_si) / look.band_si
    if far > _OTHER_PIN_BANDS:
        return learned
    n = min(float(learned.contacts), _MEMORY)
    keep = _PRIOR_CONTACTS + n
    moved = far > _MOVED_BANDS
    restless = learned.restless + (math.log(far + 0.05) - learned.restless) / (keep + 1)
    trend = max(min(end.moving_si / look.band_si, 1.0), -1.0)
    trend = learned.trend + (trend - learned.trend) / (keep + 1)
    share = learned.moved + (moved - learned.moved) / (keep + 1)
    creep_s = learned.creep_s
    if moved:
        creep_s += (crept_s - creep_s) * (1.0 if not creep_s else 0.15)
    widening, wrong, expected = learned.widening, learned.wrong, learned.expected
    if stated is not None and end_stated is not None:
        off, sigma = abs(end_stated.value_si - stated.value_si), end_stated.sigma_si
        miss = outside(off, sigma, stated.half_si)
        step = _STEP * (1.0 + _FIRST_STEPS / (_FIRST_STEPS + n))
        widening *= math.exp(step * (miss - WANTED_MISSES))
        widening = min(max(widening, _NARROWEST), _WIDEST)
        fade = 1.0 - 1.0 / _MEMORY
        wrong = fade * wrong + outside(off, sigma, stated.band_si)
        expected = fade * expected + stated.chance
    return Learned(
        learned.version + 1, learned.contacts + 1, widening, wrong, expected, restless, share, trend, creep_s
    )
