"""The daily check standard: one known resistor, measured at the start of a shift, on a chart of its own.

Individuals and moving range tell a drift of the meter, a bad lead or a dirty probe before it spoils a day's
verdicts. Not for charts of production (`stats`), and not for calibrating the meter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from operator import sub

from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, all_finite, at_least_zero, finite
from acquire.physics.trend import Trend, trend
from acquire.records.codes import RUN_LENGTH, Sign

D2_OF_TWO = 1.128
"""Mean range of two normal readings over their standard deviation, as tabled (exactly 1.12838)."""

D4_OF_TWO = 3.267
"""Upper limit of a range of two over its mean, as handbooks table it."""

FEWEST_FOR_A_CHART = 8
"""Readings before limits are reckoned from them; until then the certificate judges alone (own choice)."""


@dataclass(frozen=True, slots=True)
class ChartLimits:
    """Limits of an individuals and moving-range chart, in ohms.

    Attributes:
        centre_ohm: mean of the readings.
        lower_ohm, upper_ohm: centre -/+ 3 sigma, sigma = mean moving range / 1.128.
        sigma_ohm: of individual readings, from the moving range.
        moving_range_ohm: mean moving range.
        moving_range_upper_ohm: its upper limit.
    """

    centre_ohm: float
    lower_ohm: float
    upper_ohm: float
    sigma_ohm: float
    moving_range_ohm: float
    moving_range_upper_ohm: float


def chart_of(readings_ohm: Sequence[float]) -> ChartLimits:
    """Individuals and moving-range limits.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Args:
        readings_ohm: two or more, in order of time.

    Raises:
        InputImpossible: fewer than two, or one that is no finite number.
    """
    if len(readings_ohm) < 2:
        raise InputImpossible("A chart needs at least two readings.", "Measure the check standard again.")
    all_finite(readings_ohm, "a reading of the check standard in ohms")
    centre = math.fsum(readings_ohm) / len(readings_ohm)
    ranges = list(map(abs, map(sub, readings_ohm[1:], readings_ohm)))
    mean_range = math.fsum(ranges) / len(ranges)
    sigma = mean_range / D2_OF_TWO
    return ChartLimits(
        centre_ohm=centre,
        lower_ohm=centre - 3.0 * sigma,
        upper_ohm=centre + 3.0 * sigma,
        sigma_ohm=sigma,
        moving_range_ohm=mean_range,
        moving_range_upper_ohm=D4_OF_TWO * mean_range,
    )


TREND_OVER = 30
"""Latest readings that a trend is looked for in."""

TREND_BY_CHANCE = 0.001
"""Probability below which a trend is told; workshop choice, so that a daily look rarely cries wolf."""


@dataclass(frozen=True, slots=True)
class Resistor:
    """The check standard itself.

    Attributes:
        name: as the bench file calls it.
        certificate_ohm: value of its certificate or first careful measurement, at `reference_celsius`.
        expanded_ohm: expanded uncertainty of that.
        reference_celsius: temperature it holds for.
    """

    name: str
    certificate_ohm: float
    expanded_ohm: float
    reference_celsius: float = 20.0


@dataclass(frozen=True, slots=True)
class Check:
    """One look at the bench by its check standard.

    Attributes:
        reading_ohm: measured now, corrected as any winding.
        signs: what speaks against the bench; empty when it is in control.
        chart: the limits used; None while the history is too short.
        trend: of the latest readings, per reading; None while the history is too short.
    """

    reading_ohm: float
    signs: tuple[Sign, ...]
    chart: ChartLimits | None
    trend: Trend | None = None

    @property
    def in_control(self) -> bool:
        """No sign speaks against the bench."""
        return not self.signs


def check_bench(
    reading_ohm: float, expanded_ohm: float, resistor: Resistor, history_ohm: Sequence[float]
) -> Check:
    """Hold today's reading of the check standard against its certificate and its own history.

    Off certificate: |reading - certificate| exceeds the root sum of squares of both expanded uncertainties
    (the normalised error of ISO 13528 exceeds 1). With enough history also: beyond 3 sigma; a jump, the
    moving range beyond its upper limit; a run, nine in a row on one side; a trend that chance makes in less
    than one of a thousand sets. Whether a sign stops the bench or warns is the bench file's choice.

    Args:
        reading_ohm: now, at the resistor's reference temperature.
        expanded_ohm: its expanded uncertainty, from the same budget as any verdict, >= 0.
        resistor: the check standard.
        history_ohm: earlier readings that were in control, oldest first, without this one.

    Raises:
        InputImpossible: a value that cannot be.
    """
    finite(reading_ohm, "the reading of the check standard in ohms")
    at_least_zero(expanded_ohm, "the expanded uncertainty of the check standard's reading in ohms")
    at_least_zero(resistor.expanded_ohm, "the expanded uncertainty of the check standard in ohms")
    above_zero(resistor.certificate_ohm, "the check standard's value in ohms")
    enough = len(history_ohm) >= FEWEST_FOR_A_CHART
    chart = chart_of(history_ohm) if enough else None
    latest = [*history_ohm, reading_ohm][-TREND_OVER:]
    drift = trend(range(len(latest)), latest) if enough else None
    found = [(Sign.OFF_CERTIFICATE, _off_certificate(reading_ohm, expanded_ohm, resistor))]
    if chart is not None:
        jump = abs(reading_ohm - history_ohm[-1])
        found += [
            (Sign.BEYOND_LIMITS, not chart.lower_ohm <= reading_ohm <= chart.upper_ohm),
            (Sign.JUMP, jump > chart.moving_range_upper_ohm),
            (Sign.RUN, _run(latest, chart)),
        ]
    if drift is not None:
        found.append((Sign.TREND, drift.p < TREND_BY_CHANCE))
    signs = tuple(sign for sign, there in found if there)
    return Check(reading_ohm=reading_ohm, signs=signs, chart=chart, trend=drift)


def _off_certificate(ohm: float, expanded_ohm: float, resistor: Resistor) -> bool:
    return abs(ohm - resistor.certificate_ohm) > math.hypot(expanded_ohm, resistor.expanded_ohm)


def _run(readings_ohm: Sequence[float], chart: ChartLimits) -> bool:
    latest = readings_ohm[-RUN_LENGTH:]
    above = all(ohm > chart.centre_ohm for ohm in latest)
    below = all(ohm < chart.centre_ohm for ohm in latest)
    return len(latest) == RUN_LENGTH and (above or below)
