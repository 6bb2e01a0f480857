"""The daily check standard: one known resistor, measured at the start of a shift, on a chart of its own.

Individuals and moving range tell a drift of the meter, a bad lead or a dirty probe before it spoils a day's
verdicts. Not for charts of production (`stats`), and not for calibrating the meter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, at_least_zero, finite
from acquire.physics.trend import Trend, trend

D2_OF_TWO = 1.128
"""Mean range of two normal readings over their standard deviation, as tabled (exactly 1.12838)."""

D4_OF_TWO = 3.267
"""Upper limit of a range of two over its mean, as handbooks table it."""

RUN_ON_ONE_SIDE = 9
"""Readings in a row on one side of the centre that are no chance: 9 happen by chance in 1 of 256 runs
(ISO 7870-2:2013 counts 9 as well; from memory)."""

FEWEST_FOR_A_CHART = 8
"""Readings before limits are reckoned from them; until then the certificate judges alone (own choice)."""


@dataclass(frozen=True, slots=True)
class Chart:
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


def chart_of(readings_ohm: Sequence[float]) -> Chart:
    """Individuals and moving-range limits.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Args:
        readings_ohm: two or more, in order of time.

    Raises:
        InputImpossible: fewer than two, or one that is no finite number.
    """
    if len(readings_ohm) < 2:
        raise InputImpossible("A chart needs at least two readings.", "Measure the check standard again.")
    for ohm in readings_ohm:
        finite(ohm, "a reading of the check standard in ohms")
    centre = math.fsum(readings_ohm) / len(readings_ohm)
    ranges = [abs(b - a) for a, b in pairwise(readings_ohm)]
    mean_range = math.fsum(ranges) / len(ranges)
    sigma = mean_range / D2_OF_TWO
    return Chart(
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


class Sign(StrEnum):
    """What speaks against the bench."""

    OFF_CERTIFICATE = "off_certificate"
    BEYOND_LIMITS = "beyond_limits"
    JUMP = "jump"
    RUN = "run"
    TREND = "trend"


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
        sentences: one for each sign, and none when in control.
        chart: the limits used; None while the history is too short.
        trend: of the latest readings, per reading; None while the history is too short.
    """

    reading_ohm: float
    signs: tuple[Sign, ...]
    sentences: tuple[str, ...]
    chart: Chart | None
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
    found = [_off_certificate(reading_ohm, expanded_ohm, resistor)]
    if chart is not None:
        found += [
            _beyond_limits(reading_ohm, chart, resistor.name),
            _jump(reading_ohm, history_ohm[-1], chart, resistor.name),
            _run([*history_ohm, reading_ohm], chart, resistor.name),
        ]
    if drift is not None and drift.p < TREND_BY_CHANCE:
        found.append((Sign.TREND, _drifting(drift, resistor.name)))
    signs = [each for each in found if each is not None]
    return Check(
        reading_ohm=reading_ohm,
        signs=tuple(sign for sign, _ in signs),
        sentences=tuple(sentence for _, sentence in signs),
        chart=chart,
        trend=drift,
    )


def _off_certificate(ohm: float, expanded_ohm: float, resistor: Resistor) -> tuple[Sign, str] | None:
    off, allowed = ohm - resistor.certificate_ohm, math.hypot(expanded_ohm, resistor.expanded_ohm)
    if abs(off) <= allowed:
        return None
    return Sign.OFF_CERTIFICATE, (
        f"Check standard {resistor.name} reads {off:+.4g} Ω off its certificate; "
        f"{allowed:.4g} Ω are allowed. Zero the leads, clean the probes and measure it again."
    )


def _beyond_limits(ohm: float, chart: Chart, name: str) -> tuple[Sign, str] | None:
    if chart.lower_ohm <= ohm <= chart.upper_ohm:
        return None
    return Sign.BEYOND_LIMITS, (
        f"Check standard {name} reads {ohm:.6g} Ω, outside its own limits "
        f"{chart.lower_ohm:.6g} to {chart.upper_ohm:.6g} Ω."
    )


def _jump(ohm: float, before_ohm: float, chart: Chart, name: str) -> tuple[Sign, str] | None:
    jump = abs(ohm - before_ohm)
    if jump <= chart.moving_range_upper_ohm:
        return None
    return Sign.JUMP, (
        f"Check standard {name} has jumped by {jump:.4g} Ω since it was last measured; "
        f"{chart.moving_range_upper_ohm:.4g} Ω are its limit."
    )


def _run(readings_ohm: Sequence[float], chart: Chart, name: str) -> tuple[Sign, str] | None:
    latest = readings_ohm[-RUN_ON_ONE_SIDE:]
    above = all(ohm > chart.centre_ohm for ohm in latest)
    below = all(ohm < chart.centre_ohm for ohm in latest)
    if len(latest) < RUN_ON_ONE_SIDE or not (above or below):
        return None
    return Sign.RUN, (
        f"Check standard {name} has read {'above' if above else 'below'} its mean "
        f"{RUN_ON_ONE_SIDE} times in a row: something drifts."
    )


def _drifting(drift: Trend, name: str) -> str:
    return (
        f"Check standard {name} drifts by {drift.slope:+.3g} Ω a reading over the last {drift.points}: "
        f"compare it with another resistor to see which of the two it is."
    )
