"""Which of the known sheets an unknown core belongs to, from its readings. Not for judging the core."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from acquire.physics.common import PairReading
from acquire.records import Hypothesis, Purpose, Sheet
from acquire.steps.estimate import estimate
from acquire.steps.pairs import PairTable
from acquire.verdict.casebook import log_anywhere
from acquire.verdict.diagnose import Readings, findings, log_evidence, told

_NONE_OF_THEM = 0.3
"""Prior probability that the core is of a type without a sheet; workshop choice."""

_SPAN, _KNOWN = math.log(1e5), 0.1
"""Windings of unknown types lie anywhere in five decades, each as likely as the next; a reading follows from
others where they know it better than this share of it. Workshop choices."""


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


def identify(sheets: Sequence[Sheet], readings: Readings) -> tuple[Candidate, ...]:
    """Rank the known types by how well they explain the readings of a core that came in.

    A faulty core is still recognised: each type is weighed with all the faults it can have. Pins must have
    the names that the sheets give them; a sheet that lacks one of them is out.

    Args:
        sheets: known types.
        readings: everything measured on the core.

    Returns:
        All types that have the pins, and "none of them", most likely first; empty without readings.
    """
    if not readings:
        return ()
    fitting = [sheet for sheet in sheets if _has_pins(sheet, readings)]
    share = (1.0 - _NONE_OF_THEM) / max(len(fitting), 1)
    logs = [math.log(share) + log_evidence(sheet, readings) for sheet in fitting]
    strangers = [_stranger(PairTable(sheet), readings) for sheet in fitting]
    none_log = math.log(_NONE_OF_THEM) + max(
        [sum(_anything(reading.ohm) for reading in readings), *strangers]
    )
    top = max([none_log, *logs])
    total = math.exp(none_log - top) + sum(math.exp(log - top) for log in logs)
    ranked = [
        Candidate(sheet, math.exp(log - top) / total, _condition(sheet, readings))
        for sheet, log in zip(fitting, logs, strict=True)
    ]
    ranked.append(Candidate(None, math.exp(none_log - top) / total, None))
    return tuple(sorted(ranked, key=lambda candidate: -candidate.probability))


def _has_pins(sheet: Sheet, readings: Readings) -> bool:
    known = set(sheet.pin_names())
    return all(pin in known for reading in readings for pin in reading.pair)


def _condition(sheet: Sheet, readings: Readings) -> Hypothesis:
    best = findings(sheet, PairTable(sheet), readings, purpose=Purpose.INCOMING)[0]
    return told(best, sheet)


def _stranger(table: PairTable, readings: Readings) -> float:
    """Log-density of the readings if the core is joined like this type, with windings of other ohms."""
    total, before = 0.0, list[PairReading]()
    for reading in readings:
        pair = table.canonical(*reading.pair)
        open_so = math.isinf(table.nominal_ohm(pair))
        total += math.log(0.95 if math.isinf(reading.ohm) == open_so else 0.05)
        if math.isinf(reading.ohm) or open_so:
            total += 0.0 if math.isinf(reading.ohm) else _anything(reading.ohm)
            continue
        this = reading._replace(pair=pair)
        ohm, u_ohm = estimate(table, before, loose=True).reading(this) if before else (0.0, math.inf)
        if u_ohm < _KNOWN * abs(ohm):
            away = (this.ohm - ohm) / u_ohm
            follows = -0.5 * away**2 - math.log(u_ohm * math.sqrt(2.0 * math.pi))
            total += max(follows, math.log(0.05) + _anything(this.ohm))
        else:
            total -= math.log(max(abs(this.ohm), 1e-3) * _SPAN)
        before.append(this)
    return total


def _anything(ohm: float) -> float:
    """Log-density of a reading of a type nobody knows: open or not evenly, else any decade alike."""
    return math.log(0.5) + (0.0 if math.isinf(ohm) else float(log_anywhere(ohm)))
