"""Is the unit still warm, and how long must it rest? Signs of warmth, and an exponential fit of its cooling.

A warm unit is held, not failed: 10 K of copper are 3.9 %. Two signs tell it: the first pair, measured again
at the end, has moved; or all pairs are off by the same percentage. Not for correcting a temperature that is
known (`copper`), and not for holding the unit: the unit's progress does that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, at_least_zero, finite
from acquire.physics.copper import CONDUCTORS, Conductor, fraction_per_kelvin
from acquire.physics.laws import chi_square_cdf

TAU_S = 1800.0
"""Time constant of a part of 0.3 to 4 kg in still air, seconds: 18 to 42 min by calculation, no source."""

TAU_LOG_U = 0.6
"""Standard uncertainty of ln(tau) before any measurement: a factor of 1.8 either way (workshop choice)."""

SURE_ENOUGH = 0.05
"""Below this probability, deviations are not taken for one common percentage."""


@dataclass(frozen=True, slots=True)
class Deviation:
    """One pair against its nominal value, both at the reference temperature.

    Attributes:
        fraction: measured / nominal - 1.
        u_fraction: standard uncertainty of that which is the pair's own: reading and spread between good
            units, not the shared temperature.
    """

    fraction: float
    u_fraction: float


@dataclass(frozen=True, slots=True)
class CommonShift:
    """What all pairs have in common.

    Attributes:
        fraction: weighted mean of the deviations.
        u_fraction: its standard uncertainty.
        agreement: probability that scatter as large as seen arises if they share one percentage.
        kelvin: how much warmer than thought the winding would have to be.
        pairs: how many pairs it rests on.
    """

    fraction: float
    u_fraction: float
    agreement: float
    kelvin: float
    pairs: int

    def stands_out(self, limit_fraction: float) -> bool:
        """Two pairs or more share one shift, it exceeds the limit, and twice its own uncertainty."""
        return (
            self.pairs >= 2
            and self.agreement >= SURE_ENOUGH
            and abs(self.fraction) > max(limit_fraction, 2.0 * self.u_fraction)
        )


def common_shift(
    deviations: Sequence[Deviation],
    *,
    winding_celsius: float = 20.0,
    conductor: Conductor = CONDUCTORS["copper"],
) -> CommonShift:
    """The percentage that all pairs share, and whether they do.

    Weighted mean and the chi-square of what is left (Birge; standard least squares of one parameter).

    Args:
        deviations: one a pair, at least one; only pairs of one metal.
        winding_celsius: temperature the pairs were corrected from.
        conductor: that metal.

    Raises:
        InputImpossible: no deviation, or an uncertainty that is not above zero.
    """
    if not deviations:
        raise InputImpossible("There is no pair to compare with its nominal value.", "Measure one first.")
    weights = [1.0 / above_zero(d.u_fraction, "the uncertainty of a deviation") ** 2 for d in deviations]
    whole = math.fsum(weights)
    mean = math.fsum(w * d.fraction for w, d in zip(weights, deviations, strict=True)) / whole
    misfit = math.fsum(w * (d.fraction - mean) ** 2 for w, d in zip(weights, deviations, strict=True))
    freedom = len(deviations) - 1
    return CommonShift(
        fraction=mean,
        u_fraction=1.0 / math.sqrt(whole),
        agreement=1.0 - chi_square_cdf(misfit, freedom) if freedom else 1.0,
        kelvin=mean / fraction_per_kelvin(winding_celsius, conductor),
        pairs=len(deviations),
    )


@dataclass(frozen=True, slots=True)
class Sample:
    """One reading of the same pair while it cools.

    Attributes:
        at_s: time on any clock that runs evenly, seconds.
        ohm: corrected with one and the same temperature throughout.
        u_ohm: standard uncertainty of its scatter alone, > 0.
    """

    at_s: float
    ohm: float
    u_ohm: float


@dataclass(frozen=True, slots=True)
class Cooling:
    """What a cooling pair tells.

    Attributes:
        rest_ohm: where it is going.
        excess_ohm: how far above that it was at the last sample; negative while a cold part warms up.
        tau_s: time constant.
        wait_s: from the last sample until the excess is below the limit, as likely too long as too short; 0
            when it is below already.
        wait_at_most_s: the same, too short in one case of ten.
    """

    rest_ohm: float
    excess_ohm: float
    tau_s: float
    wait_s: float
    wait_at_most_s: float


def fit_cooling(samples: Sequence[Sample], limit_fraction: float, *, tau_s: float = TAU_S) -> Cooling:
    """Fit R(t) = rest + excess · exp(-t / tau) and say how long to wait.

    For each tau of a grid, rest and excess follow by weighted least squares; the taus are weighed by how well
    they fit and by what parts of this size usually need. So two samples are enough for a first answer, and
    with more the measured curve takes over.

    Args:
        samples: two or more at different times, oldest first.
        limit_fraction: excess over rest that counts as cold, > 0; the sheet's `warm_limit`.
        tau_s: usual time constant of such parts, seconds, > 0.

    Raises:
        InputImpossible: fewer than two samples, times that do not rise, or a limit that is not above zero.
    """
    above_zero(limit_fraction, "the limit on warmth as a fraction")
    above_zero(tau_s, "the time constant in seconds")
    _refuse_unfit(samples)
    tries = [_try(samples, tau_s * math.exp(TAU_LOG_U * z / 10.0), limit_fraction, z / 10.0) for z in _GRID]
    best = min(tries, key=lambda each: each.misfit)
    weights = [math.exp(-0.5 * (each.misfit - best.misfit)) for each in tries]
    by_wait = sorted(zip((each.wait_s for each in tries), weights, strict=True))
    return Cooling(
        rest_ohm=best.rest_ohm,
        excess_ohm=best.excess_ohm,
        tau_s=best.tau_s,
        wait_s=_weighted_quantile(by_wait, 0.5),
        wait_at_most_s=_weighted_quantile(by_wait, 0.9),
    )


_GRID = range(-35, 36)
"""Tenths of the prior's standard uncertainty that tau is tried at."""


@dataclass(frozen=True, slots=True)
class _Try:
    tau_s: float
    rest_ohm: float
    excess_ohm: float
    misfit: float
    wait_s: float


def _try(samples: Sequence[Sample], tau_s: float, limit_fraction: float, z: float) -> _Try:
    """Least squares of rest and excess for one tau; misfit holds chi-square and the prior of tau."""
    last_s = samples[-1].at_s
    decay = [math.exp(-(sample.at_s - last_s) / tau_s) for sample in samples]
    weights = [1.0 / sample.u_ohm**2 for sample in samples]
    whole = math.fsum(weights)
    mean_decay = math.fsum(w * d for w, d in zip(weights, decay, strict=True)) / whole
    mean_ohm = math.fsum(w * s.ohm for w, s in zip(weights, samples, strict=True)) / whole
    rows = list(zip(weights, decay, samples, strict=True))
    square = math.fsum(w * (d - mean_decay) ** 2 for w, d, _ in rows)
    mixed = math.fsum(w * (d - mean_decay) * (s.ohm - mean_ohm) for w, d, s in rows)
    excess = mixed / square
    rest = mean_ohm - excess * mean_decay
    chi_square = math.fsum(w * (s.ohm - rest - excess * d) ** 2 for w, d, s in rows)
    allowed = limit_fraction * abs(rest)
    wait = tau_s * math.log(abs(excess) / allowed) if abs(excess) > allowed > 0.0 else 0.0
    return _Try(tau_s, rest, excess, chi_square + z * z, wait)


def _weighted_quantile(rising: Sequence[tuple[float, float]], p: float) -> float:
    """The value below which a share p of the weight lies."""
    wanted = p * math.fsum(weight for _, weight in rising)
    running = 0.0
    for value, weight in rising:
        running += weight
        if running >= wanted:
            return value
    return rising[-1][0]


def _refuse_unfit(samples: Sequence[Sample]) -> None:
    if len(samples) < 2:
        raise InputImpossible("One reading shows no cooling.", "Measure the same pair again after a minute.")
    for sample in samples:
        finite(sample.ohm, "a sample's resistance in ohms")
        above_zero(sample.u_ohm, "a sample's uncertainty in ohms")
    if any(b.at_s <= a.at_s for a, b in pairwise(samples)):
        raise InputImpossible("The samples of a cooling are not in order of time.", "Give the oldest first.")


@dataclass(frozen=True, slots=True)
class Warmth:
    """Whether a unit is to be held.

    Attributes:
        held: True: no verdict yet.
        reason: one sentence; empty when it is not held.
        kelvin: by how much it is off, None when unknown.
        wait_s: how long it should rest, None when unknown.
    """

    held: bool
    reason: str = ""
    kelvin: float | None = None
    wait_s: float | None = None


def judge_warmth(
    *,
    limit_fraction: float,
    samples: Sequence[Sample] = (),
    shift: CommonShift | None = None,
    tau_s: float = TAU_S,
    rested: bool = False,
) -> Warmth:
    """Hold a unit whose temperature is not what the thermometer says.

    It is held when the last sample of a pair differs from the first by more than the limit and by more than
    twice the scatter of the two, or when all pairs share one shift that stands out
    (`CommonShift.stands_out`). A shift alone may also be a spool of other wire that all windings were made
    from: once the unit has rested and no longer moves, the shift is the unit's own and no reason to hold it
    again.

    Args:
        limit_fraction: the sheet's `warm_limit`.
        samples: of one pair, first touch to last.
        shift: of all pairs, where there are nominal values.
        tau_s: usual time constant.
        rested: True once the unit was held and has waited.

    Raises:
        InputImpossible: as `fit_cooling`.
    """
    above_zero(limit_fraction, "the limit on warmth as a fraction")
    if len(samples) >= 2:
        first, last = samples[0], samples[-1]
        moved = (last.ohm - first.ohm) / above_zero(first.ohm, "the first pair's resistance in ohms")
        scatter = 2.0 * math.hypot(first.u_ohm, last.u_ohm) / first.ohm
        if abs(moved) > max(limit_fraction, scatter):
            cooling = fit_cooling(samples, limit_fraction, tau_s=tau_s)
            return Warmth(
                held=True,
                reason=f"The first pair has moved by {100.0 * moved:+.1f} % since it was measured: "
                f"the unit is not at room temperature.",
                kelvin=cooling.excess_ohm
                / cooling.rest_ohm
                / fraction_per_kelvin(20.0, CONDUCTORS["copper"]),
                wait_s=cooling.wait_s,
            )
    if shift is not None and not rested and shift.stands_out(limit_fraction):
        warmer = "warmer" if shift.kelvin > 0.0 else "colder"
        return Warmth(
            held=True,
            reason=f"All {shift.pairs} pairs are off by the same {100.0 * shift.fraction:+.1f} %: "
            f"the unit is likely {abs(shift.kelvin):.0f} K {warmer} than the thermometer says.",
            kelvin=shift.kelvin,
            wait_s=wait_for(shift.fraction, limit_fraction, tau_s),
        )
    return Warmth(held=False)


def wait_for(excess_fraction: float, limit_fraction: float, tau_s: float = TAU_S) -> float:
    """Seconds until an excess has died down to the limit: tau · ln(excess / limit), 0 if it has already.

    Raises:
        InputImpossible: a limit or time constant that is not above zero.
    """
    above_zero(limit_fraction, "the limit on warmth as a fraction")
    above_zero(tau_s, "the time constant in seconds")
    excess = abs(finite(excess_fraction, "the excess as a fraction"))
    return tau_s * math.log(excess / limit_fraction) if excess > limit_fraction else 0.0


def settle_time_s(henry: float, ohm: float, left_fraction: float = 0.001) -> float:
    """Time until the current in a coil is within a fraction of its final value: L / R · ln(1 / fraction).

    For a constant voltage on L and R in series; the least that a slow winding needs before it reads right.

    Args:
        henry: inductance, >= 0.
        ohm: whole resistance of the loop, > 0.
        left_fraction: what may be left, 0 to 1; 0.001 is 6.91 time constants.

    Raises:
        InputImpossible: a value out of range.
    """
    at_least_zero(henry, "the inductance in henry")
    above_zero(ohm, "the resistance in ohms")
    if not 0.0 < left_fraction < 1.0:
        raise InputImpossible(f"What may be left is {left_fraction!r}.", "Give a fraction between 0 and 1.")
    return henry / ohm * math.log(1.0 / left_fraction)
