"""The progress of a unit without a bench, for tests of the rules by which steps count. Not a test itself."""

import math

from acquire.records import Fit, Match, Outcome, Pair
from acquire.steps.pairs import PairTable
from acquire.steps.unit import UnitProgress
from tests.known_sheets import PLOVER, corrected


def unit(sheet=PLOVER, **more):
    """A fresh unit."""
    return UnitProgress(PairTable(sheet), "P-0001", **more)


def fit(kind, ohm, pair=("1", "2")):
    """A match as the matcher would give it."""
    return Match(corrected(ohm), kind, Pair(*pair), ())


def finish(progress, factor=1.0, u_ohm=0.001):
    """Pass every step at its nominal times a factor."""
    while not progress.done:
        ohm = progress.table.nominal_ohm(progress.current.pair) * factor
        if math.isfinite(ohm):
            progress.admit(fit(Fit.EXPECTED, ohm, progress.current.pair))
        progress.judged(Outcome.PASS, ohm, u_ohm)
