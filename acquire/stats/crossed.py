"""A crossed layout taken apart: cells, table of variance, components and the interval of the gauge.

Every operator measures every part equally often. Not for the words of a study: `gauge`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from acquire.errors import InputImpossible
from acquire.physics.checks import finite
from acquire.physics.laws import chi_square_quantile, fisher_tail
from acquire.stats import CONFIDENCE


class StudyIncomplete(InputImpossible):
    """A crossed study lacks measurements.

    Attributes:
        part, operator: the cell concerned.
        found, wanted: measurements it has and should have.
    """

    def __init__(self, part: str, operator: str, found: int, wanted: int) -> None:
        self.part, self.operator, self.found, self.wanted = part, operator, found, wanted
        super().__init__(
            f"Part {part} by {operator} was measured {found} of {wanted} times.",
            "Measure the rest, or leave this part or operator out of the study.",
        )


@dataclass(frozen=True, slots=True)
class StudyTrial:
    """One measurement of a study; values are finite, in one unit for all."""

    part: str
    operator: str
    value: float


class VarianceSource(StrEnum):
    """Where spread comes from, each sum below what it is the sum of.

    The gauge is repeatability and reproducibility together.
    """

    REPEATABILITY = "repeatability"
    OPERATOR = "operator"
    INTERACTION = "operator with part"
    REPRODUCIBILITY = "reproducibility"
    GAUGE = "gauge"
    PART = "part to part"
    TOTAL = "total"


@dataclass(frozen=True, slots=True)
class VarianceRow:
    """One row of a table of variance.

    Attributes:
        source: what it is.
        square: sum of squares.
        freedom: degrees of freedom.
        f, p: against the row that it is tested with; None for repeatability and total, or without spread.
    """

    source: VarianceSource
    square: float
    freedom: int
    f: float | None = None
    p: float | None = None

    @property
    def mean_square(self) -> float:
        """Sum of squares over degrees of freedom."""
        return self.square / self.freedom


@dataclass(frozen=True, slots=True)
class Layout:
    """The values of a complete crossed study, parts x operators x trials, with the names as they came."""

    parts: tuple[str, ...]
    operators: tuple[str, ...]
    values: np.ndarray


def layout_of(trials: Sequence[StudyTrial]) -> Layout:
    """The measurements in order, if none is missing.

    Raises:
        StudyIncomplete: a part that an operator measured less often than others.
        InputImpossible: fewer than two parts or trials, or a value that is no finite number.
    """
    parts = tuple(dict.fromkeys(trial.part for trial in trials))
    operators = tuple(dict.fromkeys(trial.operator for trial in trials))
    if len(parts) < 2:
        raise InputImpossible("A gauge study needs two parts or more.", "Measure more parts.")
    cells: dict[tuple[str, str], list[float]] = {(p, o): [] for p in parts for o in operators}
    for trial in trials:
        cells[trial.part, trial.operator].append(finite(trial.value, "a measurement of the study"))
    wanted = max(len(values) for values in cells.values())
    for (part, operator), values in cells.items():
        if len(values) < wanted:
            raise StudyIncomplete(part, operator, len(values), wanted)
    if wanted < 2:
        raise InputImpossible(
            "Each part must be measured twice or more by each operator.", "Run the study with two trials."
        )
    return Layout(parts, operators, np.array([[cells[p, o] for o in operators] for p in parts]))


def table_of(layout: Layout) -> tuple[VarianceRow, ...]:
    """Sums of squares about the means; parts and operators are tested against their interaction.

    Source: NIST/SEMATECH e-Handbook, 7.4.3.7 (two-way crossed). With one operator a one-way table.
    """
    values = layout.values
    parts, operators, trials = values.shape
    cells = _mean(values, 2)
    by_part, by_operator = _mean(cells, 1), _mean(cells, 0)
    grand = _mean(by_part, 0)
    part = VarianceRow(VarianceSource.PART, operators * trials * _square(by_part - grand), parts - 1)
    repeat = _square(values - cells[:, :, None])
    repeatability = VarianceRow(VarianceSource.REPEATABILITY, repeat, parts * operators * (trials - 1))
    whole = VarianceRow(VarianceSource.TOTAL, _square(values - grand), values.size - 1)
    if operators == 1:
        return _tested(part, repeatability), repeatability, whole
    operator = VarianceRow(
        VarianceSource.OPERATOR, parts * trials * _square(by_operator - grand), operators - 1
    )
    mixed = trials * _square(cells - by_part[:, None] - by_operator[None, :] + grand)
    interaction = VarianceRow(VarianceSource.INTERACTION, mixed, (parts - 1) * (operators - 1))
    tested = _tested(part, interaction), _tested(operator, interaction), _tested(interaction, repeatability)
    return *tested, repeatability, whole


def pooled_table(table: Sequence[VarianceRow]) -> tuple[VarianceRow, ...]:
    """The same table with the interaction put into the repeatability."""
    rows = {row.source: row for row in table}
    mixed, repeat = rows[VarianceSource.INTERACTION], rows[VarianceSource.REPEATABILITY]
    pooled = VarianceRow(
        VarianceSource.REPEATABILITY, mixed.square + repeat.square, mixed.freedom + repeat.freedom
    )
    tested = (_tested(rows[source], pooled) for source in (VarianceSource.PART, VarianceSource.OPERATOR))
    return *tested, pooled, rows[VarianceSource.TOTAL]


def variances_of(
    table: Sequence[VarianceRow], layout: Layout
) -> tuple[dict[VarianceSource, float], tuple[VarianceSource, ...]]:
    """Variance of repeatability, operator, interaction and part, and which came out below zero.

    From the expected mean squares of the two-way random model; what is below zero is set to zero.
    """
    mean_square = {row.source: row.mean_square for row in table}
    parts, operators, trials = layout.values.shape
    repeat = mean_square[VarianceSource.REPEATABILITY]
    against = mean_square.get(VarianceSource.INTERACTION, repeat)
    raw = {VarianceSource.PART: (mean_square[VarianceSource.PART] - against) / (operators * trials)}
    if VarianceSource.OPERATOR in mean_square:
        raw[VarianceSource.OPERATOR] = (mean_square[VarianceSource.OPERATOR] - against) / (parts * trials)
    if VarianceSource.INTERACTION in mean_square:
        raw[VarianceSource.INTERACTION] = (against - repeat) / trials
    below = tuple(source for source, variance in raw.items() if variance < 0.0)
    return {VarianceSource.REPEATABILITY: repeat} | {s: max(0.0, v) for s, v in raw.items()}, below


def gauge_interval(table: Sequence[VarianceRow], layout: Layout) -> tuple[float, float]:
    """Interval of the gauge's variance, by Graybill and Wang for a sum of mean squares.

    The gauge's variance is a sum of mean squares with positive weights; each adds its own chi-square bounds
    in quadrature. Source: Burdick, Borror and Montgomery, J. Quality Technology 35 (2003) 342 (from memory;
    held against simulation in the tests).
    """
    rows = {row.source: row for row in table}
    parts, _, trials = layout.values.shape
    weights = {VarianceSource.REPEATABILITY: 1.0}
    if VarianceSource.INTERACTION in rows:
        weights = {
            VarianceSource.INTERACTION: (parts - 1) / (parts * trials),
            VarianceSource.REPEATABILITY: 1.0 - 1.0 / trials,
        }
    elif VarianceSource.OPERATOR in rows:
        weights = {VarianceSource.REPEATABILITY: 1.0 - 1.0 / (parts * trials)}
    if VarianceSource.OPERATOR in rows:
        weights[VarianceSource.OPERATOR] = 1.0 / (parts * trials)
    tail = 0.5 * (1.0 - CONFIDENCE)
    middle = below = above = 0.0
    for source, weight in weights.items():
        freedom, term = rows[source].freedom, weight * rows[source].mean_square
        middle += term
        below += (term * (1.0 - freedom / chi_square_quantile(1.0 - tail, freedom))) ** 2
        above += (term * (freedom / chi_square_quantile(tail, freedom) - 1.0)) ** 2
    return max(0.0, middle - math.sqrt(below)), middle + math.sqrt(above)


def _mean(values: np.ndarray, axis: int) -> np.ndarray:
    """Mean along an axis, about the first value: exact where all are alike, so that no spread is made up."""
    first = np.take(values, 0, axis)
    return np.asarray(first + (values - np.expand_dims(first, axis)).mean(axis=axis))


def _tested(row: VarianceRow, against: VarianceRow) -> VarianceRow:
    if against.mean_square <= 0.0:
        return row
    f = row.mean_square / against.mean_square
    return replace(row, f=f, p=fisher_tail(f, row.freedom, against.freedom))


def _square(off: np.ndarray) -> float:
    return math.fsum((off * off).ravel())
