"""A bench learns its own world: what comes after a value was stated tells how wrong it was.

Two rules, both pure. The stated uncertainty is steered by adaptive conformal inference (Gibbs and Candès
2021, update (2); here on the logarithm of the width): a miss widens it by far more than a hit narrows it, so
that in the long run misses are the wanted share whatever the contacts do. The doubt's chance is scaled by
wrong reports per expected ones, a Poisson rate with a Gamma prior (JCGM 101 has no case of it; textbook, from
memory). Where a display's count hides the noise, wrong reports hardly ever show it: of 22 on simulated dirty
benches 4 had left the band before the lift, but 15 had moved by half of it. There each plain move of a third
of the band counts instead. Beside them stand statistics of the contacts, which the doubt takes as signs.

Not for the value: nothing that is learnt moves it.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass

from acquire.records.settled import Learned
from acquire.settle.doubt import HIDES, Surroundings
from acquire.settle.points import Points

WANTED_MISSES = 0.05
# Steps of the logarithm of the width: six times as long at first, so that 40 contacts are enough (simulated
# with normal errors of 0.5 to 2.5 times the stated size).
_STEP, _MORE_AT_FIRST, _FIRST_CONTACTS = 0.1, 60.0, 12.0
_NARROWEST, _WIDEST = 0.6, 8.0
_MEMORY = 60.0  # contacts; older ones fade
_PRIOR_CONTACTS = 5.0  # weight of what a new bench is taken for
_PRIOR_WRONG = 0.25  # wrong reports, and expected ones, granted beforehand
_OF_LOOKS = 0.5  # weight of a look beside a report
_EVIDENT = 0.4  # share of the wrong ones that show it while held; simulated
_PLAIN_BANDS, _PLAIN_SIGMAS, _WEIGHT_OF_PLAIN = 0.35, 2.0, 1.67  # a move where the display hides; simulated
_MOVED_BANDS, _OTHER_PIN_BANDS = 0.5, 30.0
_LEAST_AFTER_S, _LEAST_POINTS = 0.8, 4
_JUMP_BANDS, _JUMP_SIGMAS = 0.7, 6.0
_UNSURE, _GOES_ON, _MORE, _MOST_ON, _SMALL_BANDS = 4.0, 0.35, 0.65, 3.0, 0.3
_STILL, _CREEPING = 2.0, 4.0


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
    """Factor on the doubt's chance: a bench may be warier than the family it comes from, never bolder."""
    return max((_PRIOR_WRONG + learned.wrong) / (_PRIOR_WRONG + _EVIDENT * learned.expected), 1.0)


def signs_of(learned: Learned) -> list[float]:
    """What the doubt takes into account of the bench."""
    return [
        learned.restless,
        learned.moved,
        math.log(learned.creeping + 0.1),
        math.log(learned.creep_s + 1.0),
    ]


@dataclass(slots=True)
class After:
    """Where a value went: its end and the standard uncertainty of that, in SI units."""

    value_si: float
    sigma_si: float
    creeping: float


def after(points: Points, stated: Statement, around: Surroundings, creeping: float) -> After | None:
    """Where the value crept after an instant, up to a jump if there is one: a slip proves nothing wrong.

    But a resistance that falls at once has lost what the contact had too much, and the value was that wrong.

    A value that keeps still lies half-way between what was stated and what came after, since both err
    alike; one that creeps has left the former and goes on. How much it is taken to creep is its move within
    the time after, squared, against that of the noise. The figures fit simulated benches of the family.

    Returns:
        None: too little came after.
    """
    times_s, values, counts = points.times_s, points.values, 1.0 / points.count_si
    first, last = bisect_right(times_s, stated.time_s), len(values) - 1
    sigma = math.sqrt(points.noise.variance)
    small = _SMALL_BANDS * stated.band_si * counts
    half = min(stated.half_si * counts, small) if stated.half_si else small
    jump = max(_JUMP_SIGMAS * sigma, min(_JUMP_BANDS * stated.band_si, stated.half_si or math.inf) * counts)
    fell, down = False, math.copysign(1.0, -stated.value_si)
    for k in range(max(first, 1), last):  # the newest point may hold the probes' leaving
        if abs(values[k] - values[k - 1]) <= jump:
            continue
        if not around.ohms or (values[k] - values[k - 1]) * down < 0.0:
            last = k
            break
        fell, first = True, k
    count = last - first
    least, least_s = (2, 0.0) if fell else (_LEAST_POINTS, _LEAST_AFTER_S)
    if count < least or times_s[last - 1] - times_s[first] < least_s:
        return None
    middle = first + count // 2
    late = points.mean_of(middle, last)
    moving = late - points.mean_of(first, middle)
    late_sigma = sigma * math.sqrt(points.noise.inflation / (last - middle))
    unsure = math.sqrt(2.0) * late_sigma + 0.1 * half
    creeps = min(max((creeping - _STILL) / _CREEPING, 0.0), 1.0)
    doubt = _UNSURE + (1.0 - _UNSURE) * creeps
    real = moving * moving / (moving * moving + (doubt * unsure) ** 2)
    goes_on = min((times_s[last] - around.contact_s) / (times_s[last - 1] - times_s[first]), _MOST_ON)
    tail = (_GOES_ON + _MORE * creeps) * real * moving * goes_on
    off = (1.0 if fell else 0.5 + 0.5 * real) * (late - (stated.value_si - points.zero_si) * counts) + tail
    spread = math.sqrt((0.5 * late_sigma) ** 2 + (0.6 * tail) ** 2 + (0.15 * half) ** 2)
    return After(stated.value_si + off * points.count_si, spread * points.count_si, (moving / unsure) ** 2)


def outside(off: float, sigma: float, half: float) -> float:
    """Chance that a normal variable about `off` lies outside of +-half."""
    scale = sigma * math.sqrt(2.0)
    return 0.5 * (math.erfc((half - off) / scale) + math.erfc((half + off) / scale))


def _wrong(end: After, stated: Statement, *, hidden: bool) -> float:
    """How many wrong ones a value counts for, from where it went."""
    off = abs(end.value_si - stated.value_si)
    if not hidden:
        return outside(off, end.sigma_si, stated.band_si)
    plain = off - _PLAIN_SIGMAS * end.sigma_si > _PLAIN_BANDS * stated.band_si
    return _WEIGHT_OF_PLAIN if plain else 0.0


def taught(
    learned: Learned,
    look: Statement,
    stated: Statement | None,
    *,
    end: After,
    end_stated: After | None,
    crept_s: float,
    hidden: bool = False,
) -> Learned:
    """Take in one contact.

    Args:
        learned: so far.
        look: the first stretch that the slope test let pass.
        stated: the first report, if there was one.
        end: where the value went after the look.
        end_stated: and after the report; None: too little came after it.
        crept_s: how long after the contact the value was last half a band away from there.
        hidden: whether the display's count hides the noise, and with it creep.
    """
    far = abs(end.value_si - look.value_si) / look.band_si
    if far > _OTHER_PIN_BANDS:
        return learned
    n = min(float(learned.contacts), _MEMORY)
    keep = _PRIOR_CONTACTS + n
    moved = far > _MOVED_BANDS
    restless = learned.restless + (math.log(far + 0.05) - learned.restless) / (keep + 1)
    creeping = learned.creeping + (min(end.creeping, 16.0) - learned.creeping) / (keep + 1)
    share = learned.moved + (moved - learned.moved) / (keep + 1)
    creep_s = learned.creep_s
    if moved:
        creep_s += (crept_s - creep_s) * (1.0 if not creep_s else 0.15)
    fade = 1.0 - 1.0 / _MEMORY
    widening = learned.widening
    weight = HIDES if hidden else 1.0
    wrong = fade * learned.wrong + _OF_LOOKS * _wrong(end, look, hidden=hidden)
    expected = fade * learned.expected + _OF_LOOKS * weight * look.chance
    if stated is not None and end_stated is not None:
        off, sigma = abs(end_stated.value_si - stated.value_si), end_stated.sigma_si
        miss = outside(off, sigma, stated.half_si)
        step = _STEP * (1.0 + _MORE_AT_FIRST / (_FIRST_CONTACTS + learned.contacts))
        widening *= math.exp(step * (miss - WANTED_MISSES))
        widening = min(max(widening, _NARROWEST), _WIDEST)
        wrong += _wrong(end_stated, stated, hidden=hidden)
        expected += weight * stated.chance
    return Learned(
        learned.version + 1,
        learned.contacts + 1,
        widening,
        wrong,
        expected,
        restless,
        share,
        creeping,
        creep_s,
    )
