"""Closed relations of a circuit, judged: what two windings share at a pin, and windings seen through others.

R12 + R23 - R13 of a tapped winding is twice what hangs on pin 2 alone, whatever the windings are, so a bad
joint there shows though every pair passes. A winding that no pair shows alone (the phase of a star without
neutral, of a delta) follows from all pairs together and has limits of its own. What the readings share
cancels where it should. Not for the pairs themselves (judge), nor for balance (steps/agreement).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

from acquire.choices import Rule
from acquire.physics.budget import combine
from acquire.physics.common import PairReading, combination
from acquire.records import BranchKind, Limits, Pair, Purpose, Term
from acquire.records.bench import ClosureFound
from acquire.records.codes import ClosureKind
from acquire.steps.estimate import estimate, winding_ohms
from acquire.steps.pairs import PairTable, branch_limits
from acquire.verdict.guard import decide

JOINT_OHM, JOINT_SHARE = 0.3, 0.1
"""Most that a joint may have where the sheet does not say: so many ohms, and no more than this share of the
least winding at the pin. Common practice: a sound crimp or solder joint has milliohms; no source."""

_CANCELS = 1e-6
"""Share of a winding that may be left in a relation that counts as free of it: what solvers leave."""

_ALONE = 0.99
"""Share of a pair's ohms that one winding makes up where the pair shows it alone."""

_FAR = 4.0
"""Standard uncertainties below nothing from which a joint is no joint: a reading is of another pair."""

_LEAST_U_OHM = 1e-9

_LEAD = "ohms of the pin's own lead"


def closures(table: PairTable, readings: Sequence[PairReading], purpose: Purpose) -> tuple[ClosureFound, ...]:
    """Every joint and hidden winding that the readings of a unit show, judged.

    Args:
        table: of the sheet.
        readings: of one unit, with their budgets; of a pair the latest counts.
        purpose: which limits apply.
    """
    finite = [reading for reading in readings if math.isfinite(reading.ohm)]
    latest = {table.canonical(*r.pair): r for r in finite if math.isfinite(table.nominal_ohm(r.pair))}
    joints = [found for pin in table.sheet.pin_names() if (found := _joint(table, latest, pin)) is not None]
    return (*joints, *_hidden(table, list(latest.values()), purpose))


def joint_limit_ohm(table: PairTable, pin: str) -> float:
    """Most that the joint at a pin may have: the sheet's own limit, else by `JOINT_OHM` and `JOINT_SHARE`."""
    if table.sheet.joint_limit_ohm is not None:
        return table.sheet.joint_limit_ohm
    inner = {pin, f"{pin}'"}
    windings = [b for b in table.branches if b.kind is BranchKind.WINDING and inner & {b.a, b.b}]
    return min([JOINT_OHM, *(JOINT_SHARE * b.reference_ohm for b in windings)])


def _joint(table: PairTable, readings: dict[Pair, PairReading], pin: str) -> ClosureFound | None:
    """The joint of a pin, from the three pairs that show it best; None where none do."""
    found = []
    for three in _threes(table, readings, pin):
        parts = list(zip((0.5, 0.5, -0.5), three, strict=True))
        lead_ohm = sum(factor * table.nominal_ohm(r.pair) for factor, r in parts)
        terms = combination([(factor, _budget(reading)) for factor, reading in parts])
        whole = combine([*terms, Term(_LEAD, _spread(table, parts) + _LEAST_U_OHM)])
        ohm = sum(factor * reading.ohm for factor, reading in parts) - lead_ohm
        found.append((whole.standard_uncertainty, ohm, whole, tuple(r.pair for r in three)))
    if not found:
        return None
    u, ohm, whole, pairs = min(found, key=lambda each: each[0])
    limits = Limits(None, joint_limit_ohm(table, pin))
    found_so = _found(table, (ClosureKind.JOINT, pin, pairs), (ohm, u, whole.expanded), limits)
    return replace(found_so, contradicts=ohm < -_FAR * u)


def _threes(
    table: PairTable, readings: dict[Pair, PairReading], pin: str
) -> Iterator[tuple[PairReading, PairReading, PairReading]]:
    """Readings from a pin to two others and across, in which every winding cancels."""
    others = [name for name in table.sheet.pin_names() if name != pin]
    for a, b in combinations(others, 2):
        pairs = (table.canonical(pin, a), table.canonical(pin, b), table.canonical(a, b))
        if not all(pair in readings for pair in pairs):
            continue
        shares = zip(table.branches, *(table.path(pair).shares for pair in pairs), strict=True)
        if all(b.kind is not BranchKind.WINDING or abs(x + y - z) < _CANCELS for b, x, y, z in shares):
            yield readings[pairs[0]], readings[pairs[1]], readings[pairs[2]]


def _spread(table: PairTable, parts: Sequence[tuple[float, PairReading]]) -> float:
    """Standard deviation of the pin's own lead and straps between good units, in ohms."""
    rows = [[factor * share for share in table.path(r.pair).shares] for factor, r in parts]
    each = zip(table.branches, map(sum, zip(*rows, strict=True)), strict=True)
    return math.hypot(*(s * b.spread * b.reference_ohm for b, s in each if b.kind is not BranchKind.WINDING))


def _budget(reading: PairReading) -> tuple[Term, ...]:
    return reading.terms or (Term("reading", reading.u_ohm),)


def _found(
    table: PairTable,
    relation: tuple[ClosureKind, str, tuple[Pair, ...]],
    value: tuple[float, float, float],
    limits: Limits,
) -> ClosureFound:
    """Judged by the sheet's rule; a stated risk is one of pairs, so here its guard band is that of the U."""
    rule = Rule.NON_BINARY if table.sheet.rule is Rule.MAXIMUM_RISK else table.sheet.rule
    decision = decide(*value, limits, rule)
    kind, where, pairs = relation
    return ClosureFound(
        kind,
        where,
        value[0],
        value[2],
        limits.lower_ohm,
        limits.upper_ohm,
        decision.outcome,
        decision.conformance_probability,
        contradicts=False,
        pairs=pairs,
    )


def _hidden(table: PairTable, readings: Sequence[PairReading], purpose: Purpose) -> Iterator[ClosureFound]:
    """Windings that no measured pair shows alone, though all of them together do."""
    shown = {b.name for r in readings for b in table.windings(r.pair) if _shows_alone(table, r.pair, b.name)}
    waiting = [b for b in table.branches if b.kind is BranchKind.WINDING and b.name not in shown]
    found = winding_ohms(estimate(table, readings, loose=True)) if waiting and len(readings) > 1 else {}
    for branch in waiting:
        limits = branch_limits(branch, purpose)
        if branch.name not in found or limits.upper_ohm is None:
            continue
        ohm, u = found[branch.name]
        pairs = tuple(r.pair for r in readings if branch in table.windings(r.pair))
        yield _found(table, (ClosureKind.WINDING, branch.name, pairs), (ohm, u, 2.0 * u), limits)


def _shows_alone(table: PairTable, pair: Pair, name: str) -> bool:
    share = dict(zip((b.name for b in table.branches), table.path(pair).shares, strict=True))[name]
    ohm = next(b.reference_ohm for b in table.branches if b.name == name)
    return share * ohm > _ALONE * table.nominal_ohm(pair) or (
        share > _ALONE and all(b.name == name for b in table.windings(pair) if b.kind is BranchKind.WINDING)
    )
