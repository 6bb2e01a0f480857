"""How warm is a unit really, and how long must it rest? Its temperature as an unknown, from all that tells.

What tells: how values of one pair fall from touch to touch, how a value falls inside a touch, the shift that
all pairs share (handed in as a likelihood), how long the unit has stated to have rested, and the thermometer.
A unit cools as the sum of two exponentials, copper to iron and iron to air. The excess over the thermometer
is reckoned on a grid, for it has no normal law: most units are cold, and of the others each decade of warmth
is as likely as the next; beside it the ways of cooling, for they say what each earlier value has lost since.
Not for the shift itself (verdict/temperature), nor for holding a unit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import groupby, pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, at_least_zero, finite

Floats = NDArray[np.float64]

TAU_S, TAU_LOG_U = 1800.0, 1.0
"""Slow time constant of a part of unknown mass in still air, and standard uncertainty of its logarithm: 18 to
42 min for 0.3 to 4 kg by calculation, no source; with 95 % from 4 min, an ignition coil, to 3.6 h, a large
transformer. Of 234 simulated units of 3 min to 4 h that were held, 97 % were within 1 K after the wait."""

KNOWN_TAU_LOG_U = 0.35
"""The same where the sheet states the mass; workshop choice."""

_WARM, _COLD = 0.2, 0.04
"""Share of units that come warmer, or colder, than the thermometer says; as in the fault dictionary."""

_WARM_KELVIN, _COLD_KELVIN = (1.5, 90.0), (1.5, 25.0)

SOAKED_KELVIN = 0.3
"""How far a unit at rest may be off the air about it, standard deviation; workshop choice."""

_FRESH_KELVIN = 20.0
"""Excess, standard deviation, from which a stated rest is reckoned; workshop choice."""

_CREEP = 0.1
"""Share of a contact's uncertainty by which it may creep while it is touched; workshop choice."""

_SETTLING = 1.0
"""Fall along the trace of a value that settles, as a share of what it may then still be from rest. On 80
touches of cold simulated units drifts have 0.84 of their uncertainty as deviation; without it, 1.7."""

_ALIKE, _CLEAR, _SURER, _SURER_SHARE = 3, 0.5, 0.15, 0.1
"""From so many touches on, drifts that agree and are as large in the mean as that share of their uncertainty
tell more than each alone (a coarse display drifts by nothing, warm or cold): the factor by which they may be
surer, and the share of units of whose contacts that is so. Workshop choices."""

_STEADY, _NEVER_S = 0.01, 1e8
"""Share of units off the thermometer that stay so: it hangs in another place, or the unit lies on something
warm. Workshop choice."""

_SHAPE = 0.1
"""How well any of the ways of cooling meets three or more values of one pair, as a share of their fall, or
all drifts inside touches, as a share of each: they lie some way apart, and two exponentials are a
simplification (two values fit any of them). Of 100 simulated coolings with six touches the 95 % interval
holds the truth 95 times; without it, 27."""

_NEGLIGIBLE = 1e-4
"""Of the whole weight; what has less is left out of the waiting times."""

_LONGEST_S = 24.0 * 3600.0
_TINY = float(np.finfo(np.float64).tiny)


def tau_of_mass(kilogram: float) -> float:
    """Slow time constant of a wound part, seconds: grows as volume over surface, 18 min at 0.3 kg.

    Raises:
        InputImpossible: a mass not above zero.
    """
    return 1080.0 * math.cbrt(above_zero(kilogram, "the mass in kilograms") / 0.3)


@dataclass(frozen=True, slots=True)
class Look:
    """One touch of one pair.

    Attributes:
        name: of the pair; values of the same pair are compared.
        at_s: on any clock that runs evenly.
        ohm: corrected with one and the same temperature throughout.
        u_ohm: standard uncertainty of what differs from touch to touch.
        rate_per_s: relative change per second inside the touch; u_rate_per_s infinite where nothing is known.
    """

    name: str
    at_s: float
    ohm: float
    u_ohm: float
    rate_per_s: float = 0.0
    u_rate_per_s: float = math.inf


def look(
    name: str,
    at_s: float,
    ohm: float,
    u_ohm: float,
    trace: Sequence[tuple[float, float]] = (),
    *,
    count_ohm: float = 0.0,
    contact_ohm: float = 0.0,
    settling_ohm: float = 0.0,
) -> Look:
    """A touch with what its own readings say of the drift: the least-squares slope (JCGM 100:2008, H.3).

    Args:
        name: of the pair.
        at_s: when, as in `Look`.
        ohm: its value.
        u_ohm: standard uncertainty of what differs from touch to touch.
        trace: (seconds, ohms) of the readings it rests on; fewer than four say nothing.
        count_ohm: resolution, for what rounding hides.
        contact_ohm: uncertainty of a contact, a share of which may creep.
        settling_ohm: how far the value may still be from rest, which looks like a drift all along the trace.
    """
    if len(trace) < 4 or ohm <= 0.0:
        return Look(name, at_s, ohm, u_ohm)
    seconds, values = np.array(trace, dtype=float).T
    away = seconds - seconds.mean()
    square = float((away**2).sum())
    if square <= 0.0:
        return Look(name, at_s, ohm, u_ohm)
    slope = float((away * values).sum()) / square
    left = values - values.mean() - slope * away
    squares = float((left**2).sum())
    correlated = max(0.0, float((left[1:] * left[:-1]).sum()) / max(squares, _TINY))
    variance = squares / max(len(values) - 4, 0.5)  # of Student's law, which has wider tails than the normal
    variance *= (1.0 + correlated) / (1.0 - min(correlated, 0.9))
    u_slope = math.sqrt((variance + count_ohm**2 / 12.0) / square)
    moving = math.hypot(_CREEP * contact_ohm, _SETTLING * settling_ohm) / float(np.ptp(seconds))
    return Look(name, at_s, ohm, u_ohm, slope / ohm, math.hypot(u_slope, moving) / ohm)


@dataclass(frozen=True, slots=True)
class _Ways:
    """Ways of cooling: (1 - share) exp(-t / slow) + share exp(-t / fast), one at a certain time."""

    slow_s: Floats
    fast_s: Floats
    share: Floats
    log_prior: Floats

    def later(self, seconds: float) -> _Ways:
        """The same, one at a later time: what cools fast has lost more by then."""
        slow, fast = np.exp(-seconds / self.slow_s), np.exp(-seconds / self.fast_s)
        return replace(self, share=self.share * fast / ((1.0 - self.share) * slow + self.share * fast))

    def left(self, seconds: Floats) -> Floats:
        """[way, time] what is left after so many seconds, negative ones before."""
        slow = (1.0 - self.share)[:, None] * np.exp(-seconds / self.slow_s[:, None])
        result: Floats = slow + self.share[:, None] * np.exp(-seconds / self.fast_s[:, None])
        return result

    def rate(self, seconds: Floats) -> Floats:
        """[way, time] its slope per second."""
        slow = ((1.0 - self.share) / self.slow_s)[:, None] * np.exp(-seconds / self.slow_s[:, None])
        fast = (self.share / self.fast_s)[:, None] * np.exp(-seconds / self.fast_s[:, None])
        result: Floats = -slow - fast
        return result

    def until(self, left: Floats, likely: NDArray[np.int64]) -> Floats:
        """[way, share] seconds until only such shares are left, in the likely ways."""
        seconds = np.concatenate([[0.0], np.geomspace(5.0, _LONGEST_S, 200)])
        curves, log_left = np.log(np.maximum(self.left(seconds)[likely, ::-1], _TINY)), np.log(left)
        return np.array([np.interp(log_left, curve, seconds[::-1]) for curve in curves])


@dataclass(frozen=True, slots=True, eq=False)
class Excess:
    """The law of a unit's excess over the thermometer: at the last touch, way of cooling by way of cooling.

    Attributes:
        kelvin: [grid] at the last touch.
        shown: [grid] the same as a share of the warm value shows it, over the coefficient of a cold one.
        weight: [way, grid] probability of each.
    """

    kelvin: Floats
    shown: Floats
    weight: Floats
    _ways: _Ways
    _end_s: float

    def left(self, at_s: Sequence[float]) -> Floats:
        """[time, way] excess at other times than the last touch, as a share of what it is there."""
        return self._ways.left(np.asarray(at_s, dtype=float) - self._end_s).T

    def chance(self, true: NDArray[np.bool_]) -> float:
        """Probability of what is true at some points [way, grid]."""
        return float(self.weight[true].sum())

    def since(self, at_s: Sequence[float]) -> tuple[Floats, Floats]:
        """(mean [time], covariance [time, time]) of the kelvin lost since such times, as values show them."""
        more = self.left(at_s) - 1.0
        of_way, squares = self.weight @ self.shown, self.weight @ self.shown**2
        mean = more @ of_way
        return mean, (more * squares) @ more.T - np.outer(mean, mean)

    def grown(self, at_s: Sequence[float]) -> Floats:
        """[time] root mean square of the excess, as a share of that at the last touch."""
        squares = self.weight @ self.kelvin**2
        result: Floats = np.sqrt(self.left(at_s) ** 2 @ squares / squares.sum())
        return result


class Shift(NamedTuple):
    """What the values of a unit share, as it tells of the temperature.

    Attributes:
        at_s: when each value was taken.
        log_like: logarithm of the likelihood [way, grid], of `Excess.left` at those times and its kelvin.
    """

    at_s: Sequence[float]
    log_like: Callable[[Floats, Floats], Floats]


@dataclass(frozen=True, slots=True)
class Warmth:
    """What is known of a unit's temperature, as its excess over the thermometer at the last touch.

    Attributes:
        low_kelvin, kelvin, high_kelvin: 2.5 %, median, 97.5 % of it.
        moving: probability that it is off by more than the limit.
        at_least_s, at_most_s: how long until it is within the limit, if it is off: 5 and 97 %; 0 where it is
            not.
        excess: the whole law of it.
    """

    low_kelvin: float
    kelvin: float
    high_kelvin: float
    moving: float
    at_least_s: float
    at_most_s: float
    excess: Excess


def warmth(
    looks: Sequence[Look],
    *,
    per_kelvin: float,
    limit_kelvin: float,
    shift: Shift | None = None,
    rested_s: float | None = None,
    tau_s: float = TAU_S,
    tau_log_u: float = TAU_LOG_U,
) -> Warmth:
    """The temperature of a unit from everything that tells of it.

    Args:
        looks: touches, oldest first.
        per_kelvin: relative change of the windings per kelvin.
        limit_kelvin: what counts as cold, > 0.
        shift: what all values share; None: nothing.
        rested_s: how long the unit was stated to have rested; None: nothing stated.
        tau_s: slow time constant of such parts.
        tau_log_u: how well its logarithm is known.

    Raises:
        InputImpossible: a limit, slope or time constant not above zero, or times that fall.
    """
    above_zero(per_kelvin, "the temperature coefficient per kelvin")
    above_zero(limit_kelvin, "the limit on warmth in kelvin")
    above_zero(tau_s, "the time constant in seconds")
    _refuse_unfit(looks)
    start_s, end_s = (looks[0].at_s, looks[-1].at_s) if looks else (0.0, 0.0)
    ways, kelvin = _ways(tau_s, tau_log_u).later(end_s - start_s), _kelvin()
    shown = kelvin / (1.0 + per_kelvin * kelvin)
    law = Excess(kelvin, shown, np.zeros(0), ways, end_s)
    log_weight = ways.log_prior[:, None] + _prior(kelvin, rested_s, tau_s)
    log_weight = log_weight + _fall_between(looks, ways, per_kelvin, shown)
    if shift is not None:
        log_weight = log_weight + shift.log_like(law.left(shift.at_s), kelvin)
    off = np.abs(kelvin) > limit_kelvin
    # Of two ways to read the drifts the one that says more of warmth counts: what may be warm does not pass.
    laws = [_normed(log_weight + drift) for drift in _fall_inside(looks, ways, per_kelvin, shown)]
    weight = max(laws, key=lambda each: float(each[:, off].sum()))
    of_kelvin = weight.sum(axis=0)
    low, middle, high = (_quantile(kelvin, of_kelvin, p) for p in (0.025, 0.5, 0.975))
    moving = float(of_kelvin[off].sum())
    least, most = _waits(ways, kelvin[off] / limit_kelvin, weight[:, off])
    return Warmth(low, middle, high, moving, least, most, replace(law, weight=weight))


def _waits(ways: _Ways, times_limit: Floats, weight: Floats) -> tuple[float, float]:
    """5 and 97 % of the seconds until an excess is within its limit, of those beyond it; 0 where none is.

    Args:
        ways: of cooling.
        times_limit: [point] excess as a multiple of the limit.
        weight: [way, point].
    """
    of_point, of_way = weight.sum(axis=0), weight.sum(axis=1)
    points = np.flatnonzero(of_point > _NEGLIGIBLE * of_point.max())
    likely = np.flatnonzero(of_way > _NEGLIGIBLE * of_way.sum() / len(of_way))
    if not len(points) or not len(likely):
        return 0.0, 0.0
    waits = ways.until(1.0 / np.abs(times_limit[points]), likely).ravel()
    order = np.argsort(waits)
    share = weight[np.ix_(likely, points)].ravel()[order]
    return _quantile(waits[order], share, 0.05), _quantile(waits[order], share, 0.97)


def _refuse_unfit(looks: Sequence[Look]) -> None:
    for each in looks:
        finite(each.ohm, "a value of a cooling pair in ohms")
        at_least_zero(each.u_ohm, "the uncertainty of a cooling pair in ohms")
    if any(b.at_s < a.at_s for a, b in pairwise(looks)):
        raise InputImpossible("The values of a cooling are not in order of time.", "Give the oldest first.")


@lru_cache(maxsize=8)
def _ways(tau_s: float, tau_log_u: float) -> _Ways:
    z = np.linspace(-2.6, 2.6, 14)
    ratio, share = np.array([0.04, 0.09, 0.2, 0.4]), np.array([0.0, 0.15, 0.3, 0.5, 0.7])
    zs, ratios, shares = (each.ravel() for each in np.meshgrid(z, ratio, share, indexing="ij"))
    slow = tau_s * np.exp(tau_log_u * zs)
    cools = np.log(np.exp(-0.5 * zs**2).sum())
    return _Ways(
        np.append(slow, _NEVER_S),
        np.append(ratios * slow, _NEVER_S),
        np.append(shares, 0.0),
        np.append(-0.5 * zs**2, cools + math.log(_STEADY)),
    )


@lru_cache(maxsize=1)
def _kelvin() -> Floats:
    """The grid: a quarter of a kelvin apart near nothing, wider and wider beyond."""
    return np.asarray(2.0 * np.sinh(np.linspace(math.asinh(-15.0), math.asinh(50.0), 201)), dtype=float)


def _prior(kelvin: Floats, rested_s: float | None, tau_s: float) -> Floats:
    """Logarithm of the weight of each point of the grid, before any value is seen."""
    step = np.gradient(kelvin)
    soaked = SOAKED_KELVIN
    if rested_s is not None:
        soaked = math.hypot(soaked, _FRESH_KELVIN * math.exp(-max(rested_s, 0.0) / tau_s))
    normal = np.exp(-0.5 * (kelvin / soaked) ** 2) / (soaked * math.sqrt(2.0 * math.pi))
    if rested_s is not None:
        return np.log(np.maximum(normal * step, _TINY))
    total = (1.0 - _WARM - _COLD) * normal
    for share, side, (low, high) in ((_WARM, kelvin, _WARM_KELVIN), (_COLD, -kelvin, _COLD_KELVIN)):
        within = (side >= low) & (side <= high)
        total += np.where(within, share / (np.maximum(side, low) * math.log(high / low)), 0.0)
    return np.log(np.maximum(total * step, _TINY))


def _normed(log_weight: Floats) -> Floats:
    weight: Floats = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    return weight


def _fall_inside(looks: Sequence[Look], ways: _Ways, per_kelvin: float, shown: Floats) -> list[Floats]:
    """[way, grid] logarithm of the likelihood of an excess by the drifts inside touches, read in each way.

    A contact that creeps looks like a unit that cools, and each drift is as unsure as that makes it. But
    contacts creep by sizes of their own: where several drift alike, far better than each is known, the unit
    cools. Then all may be surer by one factor.
    """
    told = [each for each in looks if math.isfinite(each.u_rate_per_s)]
    if not told:
        return [np.zeros((len(ways.slow_s), len(shown)))]
    at = np.array([each.at_s - looks[-1].at_s for each in told])
    rates = np.array([each.rate_per_s for each in told])
    shape = _SHAPE * math.sqrt(len(told)) * np.abs(rates)  # of all alike
    u = np.hypot([each.u_rate_per_s for each in told], shape)
    rates, slope = rates / u, per_kelvin * ways.rate(at) / u
    square = float(rates @ rates) - 2.0 * (slope @ rates)[:, None] * shown
    square = square + (slope**2).sum(axis=1)[:, None] * shown**2
    if len(told) < _ALIKE or abs(float(rates.mean())) < _CLEAR:
        return [-0.5 * square]
    surer = math.log(_SURER_SHARE) - len(told) * math.log(_SURER) - 0.5 * square / _SURER**2
    return [-0.5 * square, np.logaddexp(math.log(1.0 - _SURER_SHARE) - 0.5 * square, surer)]


def _fall_between(looks: Sequence[Look], ways: _Ways, per_kelvin: float, shown: Floats) -> Floats:
    """[way, grid] the same by how values of one pair fall from touch to touch."""
    curvature, pull = np.zeros(len(ways.slow_s)), np.zeros(len(ways.slow_s))
    for _, group in groupby(sorted(looks, key=lambda each: each.name), key=lambda each: each.name):
        same = list(group)
        if len(same) < 2:
            continue
        at = np.array([each.at_s - looks[-1].at_s for each in same])
        ohm = np.array([each.ohm for each in same])
        if float(np.ptp(ohm)) > per_kelvin * float(np.ptp(shown)) * abs(float(ohm.min())):
            continue  # more than any warmth makes: one of them was taken on another pair
        shape_ohm = (_SHAPE * float(np.ptp(ohm)) if len(same) > 2 else 0.0) + 1e-9 * ohm
        weight = (ohm / np.hypot([each.u_ohm for each in same], shape_ohm)) ** 2
        shape = per_kelvin * ways.left(at)
        shape -= (weight * shape).sum(axis=1, keepdims=True) / weight.sum()
        moved = ohm / ((weight * ohm).sum() / weight.sum())
        curvature += (weight * shape**2).sum(axis=1)
        pull += (weight * shape * moved).sum(axis=1)
    result: Floats = pull[:, None] * shown - 0.5 * curvature[:, None] * shown**2
    return result


def _quantile(rising: Floats, weight: Floats, p: float) -> float:
    """The value below which a share p of the weight lies, between the points of the grid."""
    running = np.cumsum(weight) - 0.5 * weight
    return float(np.interp(p * weight.sum(), running, rising))
