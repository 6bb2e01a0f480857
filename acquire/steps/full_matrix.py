"""A sheet with every pair of its pins as a step: what a fixture can afford and hands cannot.

The sheet's own steps come first, in their order, then the pairs that conduct, then those that must be open,
by which time readings have shown that each pin has contact. Not for measuring them.
"""

from __future__ import annotations

import math
from dataclasses import replace

from acquire.records import Pair, Sheet, Step, StepKind
from acquire.steps.pairs import PairTable

OPEN_ABOVE_OHM = 1e6
"""A pair that must be open may read more than this on an ohmmeter's few volts: dirt and damp are for an
insulation test to judge. Workshop choice."""


def full_matrix(sheet: Sheet) -> Sheet:
    """Give the sheet with a step for every pair of places that has none yet.

    Args:
        sheet: as loaded; its hash stays, for the steps follow from it.
    """
    table = PairTable(sheet)
    listed = {table.canonical(*step.pair) for step in sheet.steps if step.kind is not StepKind.TYPED}
    new = [pair for pair in table.pairs() if pair not in listed]
    own = [step for step in sheet.steps if step.kind is not StepKind.OPEN]
    conducting = [_step(pair) for pair in new if math.isfinite(table.nominal_ohm(pair))]
    must_be_open = [step for step in sheet.steps if step.kind is StepKind.OPEN]
    must_be_open += [
        replace(_step(pair), kind=StepKind.OPEN, open_above_ohm=OPEN_ABOVE_OHM)
        for pair in new
        if math.isinf(table.nominal_ohm(pair))
    ]
    return replace(sheet, steps=(*own, *conducting, *must_be_open))


def _step(pair: Pair) -> Step:
    return Step(f"{pair.a} to {pair.b}", pair)
