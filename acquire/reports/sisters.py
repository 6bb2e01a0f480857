"""What sister units read when they left: the spread that a returned unit is held against. Not for odds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from acquire.journal.question import Question, Record
from acquire.records import Purpose
from acquire.records.words import FAILING
from acquire.reports.visits import Visit

ENOUGH_IN_BATCH = 12
"""Sisters of the same batch that are preferred to more of any batch; workshop choice."""

MOST_SISTERS = 400
"""Units that the spread is taken from: more tell no more."""


def sisters_of(record: Record, then: Visit, steps: Sequence[str]) -> tuple[list[list[float]], str]:
    """What other good units of the type read when they left, step by step: of the batch if it has enough.

    Args:
        record: of the shop.
        then: the visit whose sisters are looked for.
        steps: whose values are wanted.

    Returns:
        One row a unit, and the batch's name if all are of it, else empty.
    """
    started = then.started.record
    at_celsius = next((v.record.reference_celsius for v in then.resistances().values()), 20.0)
    question = Question(kinds=("verdict",), sheet=started.sheet)
    if started.batch:
        of_batch = _rows(record, replace(question, batch=started.batch), started.serial, steps, at_celsius)
        if len(of_batch) >= ENOUGH_IN_BATCH:
            return of_batch, started.batch
    latest = replace(question, limit=MOST_SISTERS * 3 * max(1, len(steps)))
    return _rows(record, latest, started.serial, steps, at_celsius), ""


def _rows(
    record: Record, question: Question, own: str, steps: Sequence[str], at_celsius: float
) -> list[list[float]]:
    names = ["serial", "step", "purpose", "counts", "outcome", "reference_ohm", "reference_celsius"]
    wanted, failing = set(steps), {each.value for each in FAILING}
    units: dict[str, dict[str, float]] = {}
    for serial, step, purpose, counts, outcome, ohm, celsius in record.values(question, names):
        fits = counts and purpose == Purpose.FINAL and step in wanted and celsius == at_celsius
        if fits and serial != own and outcome not in failing and ohm is not None and ohm > 0.0:
            units.setdefault(serial, {})[step] = ohm
    whole = [[unit[step] for step in steps] for unit in units.values() if len(unit) == len(wanted)]
    return whole[-MOST_SISTERS:]
