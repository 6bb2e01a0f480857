"""What the temperature of a unit, as an unknown, does to its result: stands, is held, or cannot be judged.

A unit 10 K warmer than the thermometer says reads 3.9 % high, so a warm bad unit looks good and a warm good
one bad. Its excess is estimated from drift, from the shift that all pairs share and from what was stated (see
`acquire.physics.cooling`); what remains unsure goes into the uncertainty of every pair, and the decisions are
made anew. Not for the estimate itself, nor for asking and waiting (the heart).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from acquire.physics.budget import combine
from acquire.physics.common import TEMPERATURE, Floats, PairReading, commons
from acquire.physics.cooling import KNOWN_TAU_LOG_U, TAU_LOG_U, TAU_S, Look, Warmth, tau_of_mass, warmth
from acquire.physics.copper import conductor_named, fraction_per_kelvin
from acquire.records import BranchKind, Limits, Outcome, Term
from acquire.records.bench import StepAtEnd
from acquire.records.words import PASSING
from acquire.steps.pairs import PairTable
from acquire.unit_result import worst
from acquire.verdict.circuits import healthy
from acquire.verdict.guard import decide

AGAINST_THERMOMETER = "winding against thermometer"
"""Name of the budget's term for a winding that has not taken the air's temperature."""

_K_95 = 1.959964

_SURE, _LIKELY = 0.95, 0.5
"""Probability of being off by more than the sheet allows from which a unit is held in any case, and from
which one is held that its temperature decides. Workshop choices."""

_WORTH = 0.05
"""Probability of being warm or cold from which a failing unit is worth another touch. Workshop choice."""

_BAD, _BAD_SPREAD = 0.15, 0.1
"""Share of units whose windings are not as the sheet says, and how far each of them, and all together, may
then be off: so a shared shift alone never proves that a unit is warm or cold. Workshop choices."""

_TEMPERATURES = 41
"""Points between the lowest and the highest temperature at which a failing unit is looked at."""

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
    shift = shared_shift(table, [each.reading for each in conducting])
    found = excess(table, looks, shift=shift, rested_s=rested_s)
    u_kelvin = max(abs(found.low_kelvin), abs(found.high_kelvin)) / _K_95
    before = [_decided(table, each, 0.0) for each in conducting]
    after = tuple(_decided(table, each, u_kelvin) for each in conducting)
    rested = rested_s is not None and rested_s >= COLD_FOR_S
    passes = rested or all(_within(table, each, found) for each in conducting)
    standing = _standing(found, _worst(before), _worst(after), passes=passes)
    broken = any(math.isinf(each.reading.ohm) and each.limits.upper_ohm is not None for each in judged)
    if broken or _fails_at_any(table, conducting, before, found):
        standing = Standing.STANDS
    return OfTemperature(found, u_kelvin, after, _worst(after), standing, shift is not None)


def excess(
    table: PairTable,
    looks: Sequence[Look],
    *,
    shift: Callable[[Floats], Floats] | None = None,
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


def shared_shift(table: PairTable, readings: Sequence[PairReading]) -> Callable[[Floats], Floats] | None:
    """Logarithm of the likelihood of readings by the unit's excess; None where they show one winding only.

    Good units spread as the sheet says; of the others each winding, and all together, may be anywhere near.
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
    loose = parts[:, winding] * _BAD_SPREAD
    bad = good + loose @ loose.T + np.outer(nominal, nominal) * _BAD_SPREAD**2

    def log_like(kelvin: Floats) -> Floats:
        rest = off[:, None] - per_kelvin[:, None] * kelvin
        of_good, of_bad = _log_normal(rest, good), _log_normal(rest, bad)
        result: Floats = np.logaddexp(math.log(1.0 - _BAD) + of_good, math.log(_BAD) + of_bad)
        return result

    return log_like


def may_be_warm(table: PairTable, readings: Sequence[PairReading]) -> bool:
    """Whether a failing unit may be warm instead of bad, so that its first pair is read once more."""
    return excess(table, (), shift=shared_shift(table, readings)).moving >= _WORTH


def _standing(found: Warmth, before: Outcome | None, after: Outcome | None, *, passes: bool) -> Standing:
    """Whether a result stands: nothing passes that a temperature within its uncertainty would fail.

    What fails at every one of them stands without asking here.

    Of a unit that has rested nothing can be known better: what is left is a term of U like any other, and
    the sheet's rule says what a value near its limit comes to.
    """
    if found.moving >= _SURE:
        return Standing.HELD
    kept = passes and after in PASSING if before in PASSING else after is Outcome.FAIL
    if kept or before in (None, Outcome.CANNOT_JUDGE):
        return Standing.STANDS
    return Standing.HELD if found.moving >= _LIKELY else Standing.ASK


def _within(table: PairTable, each: Judgeable, found: Warmth) -> bool:
    """Whether a value is inside its limits at both ends of the temperature."""
    lower = -math.inf if each.limits.lower_ohm is None else each.limits.lower_ohm
    upper = math.inf if each.limits.upper_ohm is None else each.limits.upper_ohm
    ohm, per_kelvin = each.reading.ohm, _per_kelvin(table, each.reading)
    ends = (ohm * (1.0 - per_kelvin * kelvin) for kelvin in (found.lowest_kelvin, found.highest_kelvin))
    return all(lower <= end <= upper for end in ends)


def _fails_at_any(
    table: PairTable, conducting: Sequence[Judgeable], before: Sequence[StepAtEnd], found: Warmth
) -> bool:
    """Whether at every temperature that the unit may have some value is outside its limits by more than U."""
    kelvin = np.linspace(found.lowest_kelvin, found.highest_kelvin, _TEMPERATURES)
    fails = np.zeros(len(kelvin), dtype=bool)
    for each, step in zip(conducting, before, strict=True):
        lower, upper = each.limits.lower_ohm, each.limits.upper_ohm
        ohm = each.reading.ohm * (1.0 - _per_kelvin(table, each.reading) * kelvin)
        if lower is not None:
            fails |= ohm + step.expanded_ohm < lower
        if upper is not None:
            fails |= ohm - step.expanded_ohm > upper
    return bool(fails.all())


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
        shape=whole.law,
        maximum_risk=sheet.maximum_risk,
    )
    return StepAtEnd(each.step, whole.expanded, found.outcome, found.conformity)


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


def _log_normal(rest: Floats, covariance: Floats) -> Floats:
    """Logarithm of a normal density, but for the constant that all have."""
    root = np.linalg.cholesky(covariance + np.eye(len(covariance)) * 1e-18)
    white = np.linalg.solve(root, rest)
    result: Floats = -0.5 * (white**2).sum(axis=0) - np.log(np.diag(root)).sum()
    return result
