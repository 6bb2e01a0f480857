"""What the temperature of a unit, as an unknown, does to its result: stands, is held, or cannot be judged.

A unit 10 K warmer than the thermometer says reads 3.9 % high, so a warm bad unit looks good and a warm good
one bad. Its excess is estimated from drift, from the shift that all pairs share and from what was stated (see
`acquire.physics.cooling`); what remains unsure goes into the uncertainty of every pair, and the decisions are
made anew. Not for the estimate itself, nor for asking and waiting (the heart).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from acquire.choices import FAILING, PASSING
from acquire.physics.budget import combine
from acquire.physics.common import TEMPERATURE, Floats, PairReading, commons
from acquire.physics.cooling import (
    KNOWN_TAU_LOG_U,
    TAU_LOG_U,
    TAU_S,
    Excess,
    Look,
    Shift,
    Warmth,
    tau_of_mass,
    warmth,
)
from acquire.physics.copper import conductor_named, fraction_per_kelvin
from acquire.records import BranchKind, Limits, Outcome, Term
from acquire.records.bench import StepAtEnd
from acquire.steps.pairs import PairTable
from acquire.unit_result import worst
from acquire.verdict.circuits import healthy
from acquire.verdict.guard import decide

AGAINST_THERMOMETER = "winding against thermometer"
"""Name of the budget's term for a winding that has not taken the air's temperature."""

BETWEEN_TOUCHES = "cooling between touches"
"""Name of the term for what a value has moved until the last touch."""

_K_95 = 1.959964

_SURE, _LIKELY = 0.95, 0.5
"""Probability of being off by more than the sheet allows from which a unit is held in any case, and from
which one is held that its temperature decides. Workshop choices."""

_WORTH = 0.05
"""Probability of being warm or cold from which a failing unit is worth another touch. Workshop choice."""

_BAD, _JOINT, _WILD = 0.15, 0.03, 0.01
"""Shares of units with windings that are not as the sheet says, with bad joints, and with anything else: so a
shared shift alone never proves that a unit is warm or cold. Workshop choices."""

_BAD_SPREAD, _WILD_SPREAD = 0.1, 30.0
"""How far each winding and all together, or the joint of a pin (of the least pair), may then be off; and how
many times as far what is anything else, of which the shift says nothing. Workshop choices."""

_MAY_PASS = 0.0005
"""Probability, by the unit's temperature, of a value outside its limits with which a unit may still pass. By
simulation: of cold good units 95 in 100 have less; of 3000 that are 6.5 % low in all windings and warm by
what hides it, the one that looks most like a cold good one has 0.00065."""

_SURE_TO_FAIL = 0.994
"""Probability of a value outside its limits by more than U from which a unit fails at once."""

COLD_FOR_S = 2.0 * 3600.0
"""Rest that is asked about where nothing else tells of the temperature."""


class Standing(StrEnum):
    """What the temperature does to a result.

    STANDS: nothing. HELD: the unit must rest first. ASK: it cannot be judged before somebody says for how
    long it has lain cold, since nothing that was measured tells.
    """

    STANDS = "stands"
    HELD = "held"
    ASK = "ask"


@dataclass(frozen=True, slots=True)
class Judgeable:
    """A reading that counts, with what it is held against, and the name of its step."""

    reading: PairReading
    limits: Limits
    step: str = ""


@dataclass(frozen=True, slots=True)
class OfTemperature:
    """The temperature of a unit and what follows.

    Attributes:
        warmth: excess over the thermometer, and how long to wait.
        u_kelvin: standard uncertainty of the winding against the thermometer, as it counts in budgets.
        steps: each conducting reading with that in its budget.
        outcome: the worst of those.
        told_by_shift: the shared shift of two windings or more has a say; else drift and stated rest are all.
    """

    warmth: Warmth
    u_kelvin: float
    steps: tuple[StepAtEnd, ...]
    outcome: Outcome | None
    standing: Standing
    told_by_shift: bool


def of_temperature(
    table: PairTable,
    judged: Sequence[Judgeable],
    looks: Sequence[Look],
    *,
    rested_s: float | None = None,
) -> OfTemperature:
    """Estimate a unit's temperature and decide anew.

    Args:
        table: of its sheet.
        judged: readings that count and have limits; open pairs are left out.
        looks: every touch, oldest first.
        rested_s: how long it was stated, or seen, to have rested; None: nothing is known.
    """
    conducting = [each for each in judged if math.isfinite(each.reading.ohm)]
    readings = [each.reading for each in conducting]
    shift = shared_shift(table, readings, looks)
    found = excess(table, looks, shift=shift, rested_s=rested_s)
    u_kelvin = max(abs(found.low_kelvin), abs(found.high_kelvin)) / _K_95
    grown = found.excess.grown(touched_s(readings, looks))
    before = [_decided(table, each, 0.0) for each in conducting]
    after = tuple(_decided(table, e, u_kelvin * more) for e, more in zip(conducting, grown, strict=True))
    rested = rested_s is not None and rested_s >= COLD_FOR_S
    passes = rested or beyond(table, conducting, looks, found.excess) <= _MAY_PASS
    standing = _standing(found, _worst(before), _worst(after), passes=passes, rested=rested)
    broken = any(math.isinf(each.reading.ohm) and each.limits.upper_ohm is not None for each in judged)
    margins = [step.expanded_ohm for step in before]
    fails = _worst(before) in FAILING
    if broken or (fails and beyond(table, conducting, looks, found.excess, margins) >= _SURE_TO_FAIL):
        standing = Standing.STANDS
    return OfTemperature(found, u_kelvin, after, _worst(after), standing, shift is not None)


def excess(
    table: PairTable,
    looks: Sequence[Look],
    *,
    shift: Shift | None = None,
    rested_s: float | None = None,
) -> Warmth:
    """`acquire.physics.cooling.warmth` with what the sheet knows of the unit.

    Args:
        table: of the sheet: its limit on warmth, its mass, its metal.
        looks: every touch, oldest first.
        shift: from `shared_shift`.
        rested_s: as for `of_temperature`.
    """
    sheet = table.sheet
    metals = [b.material for b in sheet.branches if b.kind is BranchKind.WINDING] or ["copper"]
    per_kelvin = fraction_per_kelvin(sheet.reference_celsius, conductor_named(metals[0]))
    mass = sheet.mass_kg
    return warmth(
        looks,
        per_kelvin=per_kelvin,
        limit_kelvin=sheet.warm_limit / per_kelvin,
        shift=shift,
        rested_s=rested_s,
        tau_s=TAU_S if mass is None else tau_of_mass(mass),
        tau_log_u=TAU_LOG_U if mass is None else KNOWN_TAU_LOG_U,
    )


def touched_s(readings: Sequence[PairReading], looks: Sequence[Look]) -> list[float]:
    """When each value was taken; one that no touch has is as if of the last."""
    times = {(each.name, each.ohm): each.at_s for each in looks}
    end_s = looks[-1].at_s if looks else 0.0
    return [times.get((str(reading.pair), reading.ohm), end_s) for reading in readings]


def at_one_moment(
    table: PairTable, readings: Sequence[PairReading], looks: Sequence[Look], found: Excess
) -> list[PairReading]:
    """Values as they would all read at the last touch: a unit that cools makes no relation of its own.

    What is unsure of the cooling is in the budgets, as causes that the values share.

    Args:
        table: of the sheet.
        readings: of one unit.
        looks: every touch, oldest first.
        found: the law of its temperature.
    """
    mean, covariance = found.since(touched_s(readings, looks))
    variances, ways = np.linalg.eigh(covariance)
    causes = ways[:, variances > 0.0] * np.sqrt(variances[variances > 0.0])
    result = []
    for reading, kelvin, moves in zip(readings, mean, causes, strict=True):
        if not math.isfinite(reading.ohm) or not (kelvin or moves.any()):
            result.append(reading)
            continue
        share = _per_kelvin(table, reading)
        ohm = reading.ohm / (1.0 + share * float(kelvin))
        parts = [(f"cooling {k}", float(-ohm * share * move)) for k, move in enumerate(moves) if move]
        cooled = Term(BETWEEN_TOUCHES, math.hypot(*(ohm for _, ohm in parts)), shared=tuple(parts))
        terms = (*(reading.terms or (Term("reading", reading.u_ohm),)), cooled)
        u_ohm = math.hypot(reading.u_ohm, cooled.standard_uncertainty_ohm)
        result.append(PairReading(reading.pair, ohm, u_ohm, terms))
    return result


def shared_shift(
    table: PairTable, readings: Sequence[PairReading], looks: Sequence[Look] = ()
) -> Shift | None:
    """What readings say together of the unit's excess; None where they show one winding only.

    Good units spread as the sheet says; of the others each winding, joint, and all together, may be anywhere.
    """
    finite = [r for r in readings if math.isfinite(r.ohm) and math.isfinite(table.nominal_ohm(r.pair))]
    shares = np.array([table.path(reading.pair).shares for reading in finite])
    if len(finite) < 2:
        return None
    ohms = np.array([branch.reference_ohm for branch in table.branches])
    winding = np.array([branch.kind is BranchKind.WINDING for branch in table.branches])
    parts = shares * ohms
    if np.linalg.matrix_rank(parts[:, winding], tol=1e-6 * float(ohms.max())) < 2:
        return None
    nominal = parts.sum(axis=1)
    off = np.array([reading.ohm for reading in finite]) - [table.nominal_ohm(r.pair) for r in finite]
    at = table.sheet.reference_celsius
    metals = [fraction_per_kelvin(at, conductor_named(branch.material)) for branch in table.branches]
    per_kelvin = parts @ np.array(metals)
    good = shares @ _spread(table) @ shares.T + commons(finite).covariance
    pins = [[pin in reading.pair for reading in finite] for pin in table.sheet.pin_names()]
    laws = [(1.0 - _BAD - _JOINT - _WILD, good)]
    for share, loose in (
        (_BAD, np.hstack([parts[:, winding], nominal[:, None]])),
        (_JOINT, np.transpose(pins) * nominal.min()),
        (_WILD, np.diag(nominal) * _WILD_SPREAD),
    ):
        laws.append((share, good + _BAD_SPREAD**2 * (loose @ loose.T)))

    def log_like(left: Floats, kelvin: Floats) -> Floats:
        moves = per_kelvin[:, None] * left
        parts = [math.log(share) + _log_normal(off, moves, kelvin, law) for share, law in laws]
        top = np.maximum.reduce(parts)
        result: Floats = top + np.log(sum(np.exp(part - top) for part in parts))
        return result

    return Shift(touched_s(finite, looks), log_like)


def may_be_warm(table: PairTable, readings: Sequence[PairReading]) -> bool:
    """Whether a failing unit may be warm instead of bad, so that its first pair is read once more."""
    return excess(table, (), shift=shared_shift(table, readings)).moving >= _WORTH


def _standing(
    found: Warmth, before: Outcome | None, after: Outcome | None, *, passes: bool, rested: bool
) -> Standing:
    """Whether a result stands: nothing passes that a temperature within its uncertainty would fail.

    What fails at every one of them stands without asking here.

    Of a unit that has rested nothing can be known better: what is left is a term of U like any other, and
    the sheet's rule says what a value near its limit comes to.
    """
    if found.moving >= _SURE:
        return Standing.HELD
    kept = passes and after in PASSING if before in PASSING else after is Outcome.FAIL
    if kept or (rested and found.moving < _LIKELY) or before in (None, Outcome.CANNOT_JUDGE):
        return Standing.STANDS
    return Standing.HELD if found.moving >= _LIKELY else Standing.ASK


def beyond(
    table: PairTable,
    judged: Sequence[Judgeable],
    looks: Sequence[Look],
    found: Excess,
    margins_ohm: Sequence[float] | None = None,
) -> float:
    """Probability that the temperature puts some value outside its limits, by so much at least.

    Args:
        table: of the sheet.
        judged: conducting values.
        looks: every touch, oldest first.
        found: the law of the unit's temperature.
        margins_ohm: of each value; None for no more than outside.
    """
    outside = np.zeros(found.weight.shape, dtype=bool)
    left = found.left(touched_s([each.reading for each in judged], looks))
    for each, more, margin_ohm in zip(judged, left, margins_ohm or [0.0] * len(judged), strict=True):
        kelvin = more[:, None] * found.kelvin
        ohm = each.reading.ohm / (1.0 + _per_kelvin(table, each.reading) * kelvin)
        if each.limits.lower_ohm is not None:
            outside |= ohm + margin_ohm < each.limits.lower_ohm
        if each.limits.upper_ohm is not None:
            outside |= ohm - margin_ohm > each.limits.upper_ohm
    return found.chance(outside)


def _per_kelvin(table: PairTable, reading: PairReading) -> float:
    metal = conductor_named(table.material(reading.pair))
    return fraction_per_kelvin(table.sheet.reference_celsius, metal)


def _decided(table: PairTable, each: Judgeable, u_kelvin: float) -> StepAtEnd:
    reading, sheet = each.reading, table.sheet
    ohm = reading.ohm * _per_kelvin(table, reading) * u_kelvin
    terms = reading.terms or (Term("reading", reading.u_ohm),)
    whole = combine([*terms, Term(AGAINST_THERMOMETER, abs(ohm), shared=((TEMPERATURE, -ohm),))])
    found = decide(
        reading.ohm,
        whole.standard_uncertainty,
        whole.expanded,
        each.limits,
        sheet.rule,
        law=whole.law,
        maximum_risk=sheet.maximum_risk,
    )
    return StepAtEnd(each.step, whole.expanded, found.outcome, found.conformance_probability)


def _worst(steps: Sequence[StepAtEnd]) -> Outcome | None:
    return worst(each.outcome for each in steps)


def _spread(table: PairTable) -> Floats:
    """[branch, branch] covariance of good units' branches, ohms squared; what is wound alike shares most."""
    place = {branch.name: index for index, branch in enumerate(table.branches)}
    circuit = healthy(table.sheet)
    result = np.diag([circuit.element(branch.name).sd_ohm ** 2 for branch in table.branches])
    for direction in circuit.directions:
        row = np.zeros(len(place))
        for name, ohm in direction.parts.items():
            row[place[name]] = ohm * direction.sd
        result += np.outer(row, row)
    return result


def _log_normal(off: Floats, moves: Floats, kelvin: Floats, covariance: Floats) -> Floats:
    """[way, grid] logarithm of a normal density, but for the constant that all have.

    Args:
        off: [value] ohms off the nominal.
        moves: [value, way] ohms per kelvin of excess.
        kelvin: [grid] excess.
        covariance: [value, value].
    """
    root = np.linalg.cholesky(covariance + np.eye(len(covariance)) * 1e-18)
    white, moved = np.linalg.solve(root, off), np.linalg.solve(root, moves)
    pull, curvature = white @ moved, (moved**2).sum(axis=0)
    square = float(white @ white) - 2.0 * pull[:, None] * kelvin + curvature[:, None] * kelvin**2
    result: Floats = -0.5 * square - np.log(np.diag(root)).sum()
    return result
