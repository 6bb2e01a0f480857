"""Which of the known sheets an unknown core belongs to, from its readings. Not for judging the core."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from acquire.records import Hypothesis, Purpose, Sheet
from acquire.steps.pairs import PairTable
from acquire.verdict.diagnose import PairReading, findings, log_evidence, told

_NONE_OF_THEM = 0.1
"""Prior probability that the core is of a type without a sheet; workshop choice."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One sheet against the readings.

    Attributes:
        sheet: None for "none of the known types".
        probability: given the readings.
        condition: what explains the readings best if it is this type; None for none of them.
    """

    sheet: Sheet | None
    probability: float
    condition: Hypothesis | None


def identify(sheets: Sequence[Sheet], readings: Sequence[PairReading]) -> tuple[Candidate, ...]:
    """Rank the known types by how well they explain the readings of a core that came in.

    A faulty core is still recognised: each type is weighed with all the faults it can have. Pins must have
    the names that the sheets give them; a sheet that lacks one of them is out.

    Args:
        sheets: known types.
        readings: (pair, ohms at the reference temperature or infinite, standard uncertainty).

    Returns:
        All types that have the pins, and "none of them", most likely first; empty without readings.
    """
    if not readings:
        return ()
    fitting = [sheet for sheet in sheets if _has_pins(sheet, readings)]
    share = (1.0 - _NONE_OF_THEM) / max(len(fitting), 1)
    logs = [math.log(share) + log_evidence(sheet, PairTable(sheet), readings) for sheet in fitting]
    none_log = math.log(_NONE_OF_THEM) + sum(_anything(ohm) for _, ohm, _ in readings)
    top = max([none_log, *logs])
    total = math.exp(none_log - top) + sum(math.exp(log - top) for log in logs)
    ranked = [
        Candidate(sheet, math.exp(log - top) / total, _condition(sheet, readings))
        for sheet, log in zip(fitting, logs, strict=True)
    ]
    ranked.append(Candidate(None, math.exp(none_log - top) / total, None))
    return tuple(sorted(ranked, key=lambda candidate: -candidate.probability))


def _has_pins(sheet: Sheet, readings: Sequence[PairReading]) -> bool:
    known = set(sheet.pin_names())
    return all(pin in known for pair, _, _ in readings for pin in pair)


def _condition(sheet: Sheet, readings: Sequence[PairReading]) -> Hypothesis:
    best = findings(sheet, PairTable(sheet), readings, purpose=Purpose.INCOMING)[0]
    return told(best, sheet)


def _anything(ohm: float) -> float:
    """Log-density of a reading of a type nobody knows: open or not evenly, else any decade alike."""
    if math.isinf(ohm):
        return math.log(0.5)
    return math.log(0.5 / (max(abs(ohm), 1e-3) * math.log(1e9)))
