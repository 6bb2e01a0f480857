"""From a settled value to a verdict: Corrected -> Match -> Decision -> Verdict, with the evidence."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from acquire.choices import Outcome, Pair, Purpose, Rule, Shape
from acquire.records.codes import Basis, Scope
from acquire.records.settled import Settled
from drivers.reading import Quantity


@dataclass(frozen=True, slots=True)
class Term:
    """One line of an uncertainty budget, already in the unit of the result.

    Attributes:
        name: what it comes from, e.g. "meter accuracy".
        standard_uncertainty_ohm: >= 0; sensitivity already applied.
        shape: its probability law.
        degrees_of_freedom: infinite for type B terms known to be limits.
        shared: (cause, signed ohms by one standard deviation of it): the part that other values of the unit
            share, see `acquire.physics.common`; the root of what is left of the square is the value's own.
    """

    name: str
    standard_uncertainty_ohm: float
    shape: Shape = Shape.NORMAL
    degrees_of_freedom: float = math.inf
    shared: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Corrected:
    """A settled resistance without its leads, at the reference temperature, with its budget.

    Attributes:
        raw_ohm: the settled value.
        lead_ohm: what was subtracted for the leads (0 with four wires).
        resistance_ohm: raw minus leads, at the winding's temperature.
        reference_ohm: at `reference_celsius`.
        winding_celsius: temperature the winding is taken to have.
        material: conductor of the correction.
        terms: the budget of `reference_ohm`, largest first.
        standard_uncertainty_ohm, coverage_factor, expanded_ohm: of `reference_ohm`; the factor is for 95 %.
        against: name of the reference that it was compared with; empty where the meter's own accuracy counts.
        off_ohm: what the meter reads too much there, taken off besides the leads.
    """

    settled: Settled
    raw_ohm: float
    lead_ohm: float
    resistance_ohm: float
    reference_ohm: float
    reference_celsius: float
    winding_celsius: float
    material: str
    terms: tuple[Term, ...]
    standard_uncertainty_ohm: float
    coverage_factor: float
    expanded_ohm: float
    against: str = ""
    off_ohm: float = 0.0

    def part_ohm(self, names: frozenset[str]) -> float:
        """Standard uncertainty from the budget terms of these names alone."""
        return math.hypot(*(term.standard_uncertainty_ohm for term in self.terms if term.name in names))


class Fit(StrEnum):
    """Where a corrected value belongs."""

    EXPECTED = "expected"
    OTHER_PAIR = "other_pair"
    AMBIGUOUS = "ambiguous"
    FAULT = "fault"


@dataclass(frozen=True, slots=True)
class Match:
    """A corrected value set against every pair that the circuit offers.

    Attributes:
        fit: EXPECTED: it is the asked pair's value; OTHER_PAIR: it reads like another pair; AMBIGUOUS: two
            pairs explain it about equally; FAULT: no healthy pair explains it.
        pair: the pair it is taken for (the asked one, unless OTHER_PAIR).
        weights: (pair, probability) of every explanation above 1 %, most likely first; what is left belongs
            to a fault.
        reads_like: the likeliest pairs other than the asked one, where the value may be theirs.
        reads_through: windings between the pins of the likeliest of them, where it stands alone.
        together: the probes may simply touch each other.
    """

    corrected: Corrected
    fit: Fit
    pair: Pair
    weights: tuple[tuple[Pair, float], ...]
    reads_like: tuple[Pair, ...] = ()
    reads_through: tuple[str, ...] = ()
    together: bool = False


@dataclass(frozen=True, slots=True)
class Limits:
    """Lower and upper limit in ohms at the reference temperature; None where one side is open."""

    lower_ohm: float | None
    upper_ohm: float | None

    @property
    def width_ohm(self) -> float:
        """Upper minus lower; infinite where one side is open."""
        if self.lower_ohm is None or self.upper_ohm is None:
            return math.inf
        return self.upper_ohm - self.lower_ohm

    @property
    def tolerance_ohm(self) -> float:
        """What the expanded uncertainty is set against.

        Half the width between two limits; the whole upper limit where it stands alone (a resistance begins at
        zero); infinite for a lower limit alone.
        """
        if self.lower_ohm is None:
            return math.inf if self.upper_ohm is None else self.upper_ohm
        return self.width_ohm / 2.0


@dataclass(frozen=True, slots=True)
class Decision:
    """What the rule says of one value: how much it took off each limit for that, and how sure it is.

    That is the probability that the true value lies within the limits (JCGM 106:2012, 7).
    """

    outcome: Outcome
    guard_band_ohm: float
    conformance_probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The record of one judged step. Flat, so that a CSV row and a JSON object are the same thing.

    All resistances in ohms, temperatures in degrees Celsius, times in seconds.

    Attributes:
        basis: what it rests on.
        against, off_ohm: of a value that was compared with a reference; `Corrected`.
        scope: what it is about; limits, guard band and conformance probability are of that.
        fit, reads_like, reads_through, together: where the value was found to belong; `Match`.
        touch_u_ohm: the part of the standard uncertainty that differs from touch to touch.
        moved, moved_allowed: of a REPEATED one, change since the first measurement and what is allowed, as
            fractions; `moved` is None where one of the two is doubted.
        touch: number of the touch in its unit, from 1; 0 where nothing was touched.
        shared: (cause, signed ohms by one standard deviation of it) of what other values of the unit share,
            see `acquire.physics.common`.
        rate_per_s, u_rate_per_s: relative drift inside the touch and its standard uncertainty.
        witness: pairs whose continuity proves the contact of a pair found open; a pin twice: by its own two
            contacts; a pin and nothing: confirmed by key.
    """

    bench: str
    serial: str
    sheet: str
    sheet_hash: str
    purpose: Purpose
    step: str
    pin_a: str
    pin_b: str
    outcome: Outcome
    raw_ohm: float | None = None
    lead_ohm: float = 0.0
    winding_celsius: float | None = None
    reference_celsius: float
    reference_ohm: float | None = None
    nominal_ohm: float | None = None
    lower_ohm: float | None = None
    upper_ohm: float | None = None
    standard_uncertainty_ohm: float | None = None
    expanded_ohm: float | None = None
    coverage_factor: float | None = None
    guard_band_ohm: float = 0.0
    conformance_probability: float | None = None
    rule: Rule
    attempt: int
    revision: int
    counts: bool = True
    utc_s: float
    settle_s: float
    conversions: int = 0
    quantity: Quantity
    range_full_scale_ohm: float | None = None
    resolution_ohm: float | None = None
    meter_id: str
    meter_model: str
    meter_hash: str
    bench_hash: str
    operator: str
    batch: str
    software: str
    basis: Basis = Basis.MEASURED
    fit: Fit | None = None
    reads_like: tuple[Pair, ...] = ()
    reads_through: tuple[str, ...] = ()
    together: bool = False
    touch_u_ohm: float | None = None
    moved: float | None = None
    moved_allowed: float | None = None
    witness: tuple[Pair, ...] = ()
    shared: tuple[tuple[str, float], ...] = ()
    rate_per_s: float | None = None
    u_rate_per_s: float | None = None
    touch: int = 0
    scope: Scope = Scope.TOLERANCE
    against: str = ""
    off_ohm: float = 0.0

    @property
    def at_most_ohm(self) -> float | None:
        """What the pair has at most, 95 %; None of an open pair."""
        return None if self.reference_ohm is None else self.reference_ohm + (self.expanded_ohm or 0.0)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a verdict rests on; kept beside it in the journal, not in the CSV.

    Attributes:
        terms: the uncertainty budget.
        trace: (seconds since contact, value in SI) of the readings used.
        raw_hex: bytes of the deciding reading.
        temperature_source: where the winding's temperature came from: a thermometer's name on the bench,
            "typed", or "bench file"; empty where it played no part.
        temperature_utc_s: when it was read or typed.
        lead_zero_utc_s: when the leads were zeroed, of a two-wire value with a zero.
        learned: version of what the bench had learnt of its contacts by then.
        in_doubt: the value was not surely settled; its U says so.
    """

    terms: tuple[Term, ...] = ()
    trace: tuple[tuple[float, float], ...] = ()
    raw_hex: str = ""
    temperature_source: str = ""
    temperature_utc_s: float | None = None
    lead_zero_utc_s: float | None = None
    learned: int = 0
    in_doubt: bool = False


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict on its way out, with what it rests on."""

    verdict: Verdict
    evidence: Evidence
