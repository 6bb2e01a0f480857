"""Which type a core is of, and that a stranger is of none: same connector, other windings."""

import math

import numpy as np

from acquire.records import BranchKind, Pair
from acquire.verdict.identify import identify
from tests.known_sheets import FATHOM, PLOVER, QUERN
from tests.true_units import Errors, measured

KNOWN = (PLOVER, QUERN, FATHOM)


def read(sheet, dice, factor=lambda _: 1.0):
    """A core joined like a type, each winding times a factor, on a bench with six digits."""
    ohms = {b.name: b.reference_ohm * factor(b) for b in sheet.branches if b.kind is BranchKind.WINDING}
    return measured(sheet, [Pair(*step.pair) for step in sheet.steps], Errors.drawn(dice), ohms=ohms)


def test_strangers_are_of_no_known_type():
    """23 cores with windings of a third to three times those of a twin: at most one is called by its name."""
    dice = np.random.default_rng(23)
    none = 0
    for number in range(23):
        sheet = KNOWN[number % 3]
        found = identify(KNOWN, read(sheet, dice, lambda _: math.exp(dice.uniform(-1.1, 1.1))))
        none += found[0].sheet is None
    assert none >= 22


def test_cores_of_known_types_are_recognised_good_faulty_and_warm():
    """Good; the first winding a third shorted; all of it 30 K warm."""
    dice = np.random.default_rng(5)
    for sheet in KNOWN:
        first = next(b for b in sheet.branches if b.kind is BranchKind.WINDING)
        for factor in (lambda _: 1.0, lambda b, f=first: 0.67 if b is f else 1.0, lambda _: 1.118):
            assert identify(KNOWN, read(sheet, dice, factor))[0].sheet is sheet
