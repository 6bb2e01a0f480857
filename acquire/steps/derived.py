"""Sheets that follow from a sheet: with the limit of continuity, and with every pair of its pins as a step.

Where a tolerance cannot be judged by a meter, continuity can: at most so many ohms. A fixture can afford the
pairs that hands cannot. The hash of the sheet stays, for both follow from it. Not for decisions (verdict).
"""

from __future__ import annotations

import math
from dataclasses import replace

from acquire.records import Pair, Purpose, Sheet, Step, StepKind
from acquire.steps.pairs import PairTable

LOW_OHM = 10.0
"""Ohms below which leads, contacts and the last digit make a hand meter poor; workshop choice. A larger pair
is judged by its continuity only where its sheet says at how many ohms."""

ROOM, LEAST_OHM = 2.0, 1.5
"""Where the sheet says nothing, twice the upper limit of the tolerance and no less than this will do: a bad
joint has more. Workshop choices."""


def with_continuity(sheet: Sheet, purpose: Purpose) -> Sheet:
    """The sheet with what each resistance step has at most where only its continuity can be judged.

    Args:
        sheet: as loaded; its hash stays, for this follows from it.
        purpose: decides which limits apply.
    """
    table = PairTable(sheet)
    return replace(sheet, steps=tuple(_with_limit(table, step, purpose) for step in sheet.steps))


def _with_limit(table: PairTable, step: Step, purpose: Purpose) -> Step:
    if step.kind is not StepKind.RESISTANCE:
        return step
    says = any(branch.continuity_ohm is not None for branch in table.windings(step.pair))
    stated, nominal_ohm = table.continuity_ohm(step.pair) if says else None, table.nominal_ohm(step.pair)
    upper_ohm = table.limits_for(step, purpose).upper_ohm
    if stated is None and math.isfinite(nominal_ohm) and nominal_ohm < LOW_OHM and upper_ohm is not None:
        stated = max(ROOM * upper_ohm, LEAST_OHM)
    return replace(step, continuity_ohm=stated)


OPEN_ABOVE_OHM = 1e6
"""A pair that must be open may read more than this on an ohmmeter's few volts: dirt and damp are for an
insulation test to judge. Workshop choice."""


def full_matrix(sheet: Sheet) -> Sheet:
    """Give the sheet with a step for every pair of places that has none yet.

    Its own steps come first, in their order, then the pairs that conduct, then those that must be open, by
    which time readings have shown that each pin has contact.

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
