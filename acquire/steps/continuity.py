"""Where a tolerance cannot be judged by a meter, its continuity can: at most so many ohms, each step its own.

Not for the decision (verdict/judge), nor for steps that ask for no more than continuity (sheets/steps).
"""

from __future__ import annotations

import math
from dataclasses import replace

from acquire.records import Purpose, Sheet, Step, StepKind
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
