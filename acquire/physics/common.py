"""What several values share, and the budget of their sums and differences.

Values of one unit by one meter are wrong together: by the temperature of the unit, the lead zero, gain and
offset of a range, a thermal voltage. Each `Term` says with sign and size how much of it is such a common
cause; what is left is the value's own. So covariances follow, and a difference in which a cause cancels is
known better than its parts (JCGM 100:2008, 5.2; F.1.2.3 for causes named one by one). Not for finding terms.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from acquire.choices import Pair, Shape
from acquire.records.verdict import Term

TEMPERATURE, EMF, LEADS = "temperature of the unit", "thermal EMF", "lead zero"
"""Causes that all values of a unit share; gain and offset carry the name of their range."""

Floats = NDArray[np.float64]


class PairReading(NamedTuple):
    """A value of one pair, as it is weighed.

    Attributes:
        ohm: at the reference temperature; infinite where confirmed open.
        u_ohm: its standard uncertainty, all of it.
        terms: its budget; empty where nothing is known to be shared.
    """

    pair: Pair
    ohm: float
    u_ohm: float
    terms: tuple[Term, ...] = ()


def shared_of(terms: Sequence[Term]) -> tuple[tuple[str, float], ...]:
    """What a budget shares, by cause, as a record keeps it: (cause, signed ohms)."""
    found: dict[str, float] = {}
    for term in terms:
        for name, ohm in term.shared:
            found[name] = found.get(name, 0.0) + ohm
    return tuple(found.items())


def reading_of(pair: Pair, ohm: float, u_ohm: float, shared: Sequence[tuple[str, float]] = ()) -> PairReading:
    """A reading from what a record keeps of its budget: the whole uncertainty and what is shared."""
    own = math.sqrt(max(u_ohm**2 - math.fsum(part**2 for _, part in shared), 0.0))
    causes = (Term(name, abs(part), shared=((name, part),)) for name, part in shared)
    return PairReading(pair, ohm, u_ohm, (*causes, Term("its own", own)) if shared else ())


class Commons(NamedTuple):
    """Errors of some values, taken apart.

    Attributes:
        causes: names of what they share.
        moves: [cause, value] ohms by one standard deviation of the cause, signed.
        own: [value] standard uncertainty of the rest, ohms.
    """

    causes: tuple[str, ...]
    moves: Floats
    own: Floats

    @property
    def covariance(self) -> Floats:
        """[value, value] of the errors, ohms squared."""
        result: Floats = self.moves.T @ self.moves + np.diag(self.own**2)
        return result


def commons(readings: Sequence[PairReading]) -> Commons:
    """Errors of readings, taken apart into what they share and what is each one's own."""
    causes = tuple(dict.fromkeys(name for r in readings for term in r.terms for name, _ in term.shared))
    row = {name: index for index, name in enumerate(causes)}
    moves = np.zeros((len(causes), len(readings)))
    for column, reading in enumerate(readings):
        for term in reading.terms:
            for name, ohm in term.shared:
                moves[row[name], column] += ohm
    whole = np.array([reading.u_ohm for reading in readings], dtype=float)
    parts = np.square(moves).sum(axis=0)
    stated = np.array(
        [sum(t.standard_uncertainty_ohm**2 - _shared(t) for t in reading.terms) for reading in readings]
    )
    alone = np.array([not reading.terms for reading in readings], dtype=bool)
    own = np.sqrt(np.maximum(np.where(alone, whole**2 - parts, stated), 0.0))
    return Commons(causes, moves, own)


def combination(parts: Sequence[tuple[float, Sequence[Term]]]) -> list[Term]:
    """The budget of a sum of values, each times a factor: causes that they share are added with their sign.

    Args:
        parts: (factor, budget) of each value.

    Returns:
        Terms of the whole, for `budget.combine`: one for each cause, and the values' own ones.
    """
    own: list[Term] = []
    shared: dict[str, float] = {}
    laws: dict[str, tuple[Shape, float]] = {}
    for factor, terms in parts:
        for term in terms:
            rest = math.sqrt(max(term.standard_uncertainty_ohm**2 - _shared(term), 0.0))
            if rest > 0.0:
                shape = term.shape if not term.shared else Shape.NORMAL
                own.append(Term(term.name, abs(factor) * rest, shape, term.degrees_of_freedom))
            for name, ohm in term.shared:
                shared[name] = shared.get(name, 0.0) + factor * ohm
                laws[name] = (term.shape, term.degrees_of_freedom)
    together = [Term(name, abs(ohm), *laws[name], ((name, ohm),)) for name, ohm in shared.items()]
    return [*together, *own]


def _shared(term: Term) -> float:
    """Variance of a term that is shared."""
    return math.fsum(ohm**2 for _, ohm in term.shared)
