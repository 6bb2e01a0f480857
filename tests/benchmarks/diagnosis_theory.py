"""What readings can tell at all: the planted fault, of its true size, against every other of the dictionary.

A fault is told where no other one, of whatever size, explains the same readings nearly as well (chi-square
less than 6 worse, a likelihood ratio of 20; more by as much as the other is commoner by its prior, since then
it would rightly come first). Asked twice: of readings without any error, which says what ohms
can tell in principle, and of the readings as they were taken, with the meter's errors and values of pairs
touched by mistake. The truth is reckoned with its exact place and size, on no grid, so that a coarse grid of
the dictionary shows as a miss and is not excused.

Two faults of suitable sizes fit almost anything, so they count as a rival only where they also predict the
readings as well with their sizes unknown (evidence, the same ratio; Kass and Raftery 1995), the true fault's
place and size being just as unknown, on a fine grid. Two faults of which one is the true one are no rival:
that a second one may be hidden can never be excluded, and the priors decide.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np

from acquire.physics.common import PairReading
from acquire.records import Purpose
from acquire.steps.pairs import PairTable
from acquire.verdict.casebook import FaultModel
from acquire.verdict.circuits import (
    Direction,
    Element,
    FaultyCircuit,
    bridged,
    broken,
    crossed,
    evenly,
    healthy,
    in_contact,
    log_sizes,
    off_zero,
    scaled,
    swapped,
    warmer,
)
from acquire.verdict.diagnose import casebook, double_casebook
from acquire.verdict.dictionary import Case
from acquire.verdict.weighing import possible, visible

NEARLY = 6.0
"""Chi-square by which the next explanation must be worse."""

SIZES = log_sizes(0.1, 3e5, 2.2)
"""Resistances of a fault between windings or to the core, as drawn."""

ASTRAY = 6.0
"""Standard uncertainties from the truth beyond which a reading was taken elsewhere."""


def is_case(case, planted):
    """Whether a case of the dictionary is the planted fault, in its place."""
    if planted.name == "star_delta":
        return case.fault == planted.name
    if case.fault == "two_faults" == planted.name:
        planted_faults = zip(planted.kinds, ((place,) for place in planted.where), strict=True)
        return set(case.faults) == set(planted_faults)
    return case.fault == planted.name and set(case.where) == set(planted.where)


def as_measured(bench, story, planted):
    """The fault as far as it changes any pair that was measured: nobody can be asked for the rest.

    A joint at the core is no fault of a star whose core is only ever held against one pin; of two faults the
    one that shows is left.
    """
    if planted.name not in ("two_faults", "bad_joint", "open_pin", "open_winding", "shorted_turns"):
        return planted
    book = casebook(bench.sheet, Purpose.INCOMING, bench.four_wire_below_ohm or 0.0)
    seen = visible(book, [pair for pair, *_ in story.readings])
    shows = {case.faults[0] for case, see in zip(book.cases, seen, strict=True) if see}
    kinds = planted.kinds or (planted.name,)
    parts = [part for part in zip(kinds, planted.where, strict=True) if (part[0], (part[1],)) in shows]
    if len(parts) == len(kinds):
        return planted
    return replace(
        planted, name=parts[0][0] if parts else "healthy", where=tuple(p for _, p in parts), kinds=()
    )


def rivals(bench, planted, readings):
    """Other faults that explain readings nearly as well as the true one; None where the truth does not.

    Args:
        bench: that they were taken on.
        planted: the fault, as far as it was measured.
        readings: (pair, ohm, standard uncertainty).
    """
    below_ohm = bench.four_wire_below_ohm or 0.0
    readings = [PairReading(pair, ohm, u or 1e-6, *more) for pair, ohm, u, *more in readings]
    of_truth = _truth_chi_square(bench, planted, readings)
    if math.isinf(of_truth):
        return None
    single = casebook(bench.sheet, Purpose.INCOMING, below_ohm)
    double = double_casebook(bench.sheet, Purpose.INCOMING)
    can = possible(single, readings)
    known = {case.faults[0]: bool(each) for case, each in zip(single.cases, can, strict=True)}
    least = _truth_evidence(bench, planted, readings) - NEARLY / 2.0
    own = (c.prior for book in (double, single) for c in book.cases if is_case(c, planted))
    prior, found = next(own, 0.01), set()
    for book in (single, double):
        told = book.explain([PairReading(*reading) for reading in readings])
        each = zip(book.cases, best_chi_squares(book, readings, told), evidence(book, told), strict=True)
        for case, chi_square, predicted in each:
            commoner = max(0.0, math.log(case.prior / prior))
            if chi_square > of_truth + NEARLY + 2.0 * commoner:
                continue
            if len(case.faults) > len(planted.kinds or (1,)) and predicted + commoner < least:
                continue
            if is_case(case, planted) or contains(case, planted):
                continue
            if all(known.get(fault, True) for fault in case.faults):
                found.add(case.fault if case.fault != planted.name else f"{case.fault} elsewhere")
    return found


def contains(case, planted):
    """Whether a pair of faults is the single true one with another on top."""
    return len(case.faults) > 1 and any(
        fault == planted.name and set(where) == set(planted.where) for fault, where in case.faults
    )


def evidence(book, told):
    """Logarithm of the density that each case of a book gives to the readings, its sizes unknown."""
    starts = np.searchsorted(book.laws.case, np.arange(len(book.cases)))
    priors = np.log([case.prior for case in book.cases])[book.laws.case]
    return np.logaddexp.reduceat(book.laws.log_prior - priors + told.log_like, starts)


@cache
def fine(sheet, name, where, below_ohm):
    """A fault with two or three sizes on a grid finer than the dictionary's, alone in its book."""
    good = healthy(sheet)
    if name == "grounded":
        circuits = bridged(good, where[0], sheet.core, evenly(25), SIZES)
    else:
        circuits = crossed(good, *where, evenly(12), SIZES)
    pairs = PairTable(sheet).pairs()
    return FaultModel(
        (Case(((name, where),), 1.0, tuple(circuits)),), good, pairs, four_wire_below_ohm=below_ohm
    )


def _truth_evidence(bench, planted, readings):
    below_ohm = bench.four_wire_below_ohm or 0.0
    if planted.name in ("grounded", "winding_to_winding"):
        book = fine(bench.sheet, planted.name, planted.where, below_ohm)
        return float(evidence(book, book.explain([PairReading(*reading) for reading in readings]))[0])
    single = casebook(bench.sheet, Purpose.INCOMING, below_ohm)
    book = double_casebook(bench.sheet, Purpose.INCOMING) if planted.kinds else single
    own = np.array([is_case(case, planted) for case in book.cases])
    if not own.any():
        return -math.inf
    return float(evidence(book, book.explain([PairReading(*reading) for reading in readings]))[own].max())


def best_chi_squares(book, readings, told=None):
    """Of each case of a book, its best circuit's; infinite where it conducts otherwise than was read."""
    pairs, ohms = zip(*(reading[:2] for reading in readings), strict=True)
    told = told or book.explain([PairReading(*reading) for reading in readings])
    fits = (book.laws.conducts[:, book.columns(pairs)] == np.isfinite(ohms)).all(axis=1)
    chi_square = np.where(fits, told.chi_square, np.inf)
    return np.minimum.reduceat(chi_square, np.searchsorted(book.laws.case, np.arange(len(book.cases))))


def exact_readings(bench, story, planted):
    """The pairs of a story as a perfect meter would have read them; the lead zero stays wrong."""
    below_ohm = bench.four_wire_below_ohm or 0.0
    return [
        (pair, ohm + (planted.lead_zero_ohm if bench.table.nominal_ohm(pair) >= below_ohm else 0.0), u)
        for pair, ohm, u in story.exact
    ]


def taken_elsewhere(bench, story, planted):
    """Whether a reading that counts is of another pair than it is named after."""
    exact = exact_readings(bench, story, planted)
    return any(
        math.isfinite(ohm) != math.isfinite(true)
        or (math.isfinite(ohm) and abs(ohm - true) > ASTRAY * math.hypot(u, 2e-3 * true))
        for (_, ohm, u, _), (_, true, _) in zip(story.readings, exact, strict=True)
    )


def _truth_chi_square(bench, planted, readings):
    circuit = truth(bench.sheet, planted)
    if circuit is None:  # a fault without sizes, which the dictionary has exactly
        book = casebook(bench.sheet, Purpose.INCOMING, bench.four_wire_below_ohm or 0.0)
        own = [is_case(case, planted) for case in book.cases]
        return min(best_chi_squares(book, readings)[own], default=math.inf)
    case = Case(((planted.name, planted.where),), 1.0, (circuit,))
    book = FaultModel(
        (case,),
        healthy(bench.sheet),
        tuple(pair for pair, *_ in readings),
        four_wire_below_ohm=bench.four_wire_below_ohm or 0.0,
    )
    return float(best_chi_squares(book, readings)[0])


def truth(sheet, planted):
    """The circuit of a good unit with just the planted fault; None for a delta, left to the dictionary."""
    circuit = healthy(sheet)
    if planted.name == "star_delta":
        return None
    if planted.kelvin:
        (circuit,) = warmer(circuit, one(abs(planted.kelvin)), math.copysign(1.0, planted.kelvin))
    if planted.lead_zero_ohm:
        sign = math.copysign(1.0, planted.lead_zero_ohm)
        (circuit,) = off_zero(circuit, one(abs(planted.lead_zero_ohm)), sign)
    for fault in planted.faults:
        if planted.name == "swapped_pins" or fault.where in planted.where:
            circuit = with_fault(circuit, fault, sheet.core)
    if planted.bridge:
        name, x, other, y, ohm = planted.bridge
        circuit = touched(cut(circuit, other, y), name, x, f"{other} tap", ohm)
    return circuit


def with_fault(circuit: FaultyCircuit, fault, core: str) -> FaultyCircuit:
    """One fault of the simulator's as the dictionary's circuits have it."""
    where, size = (fault.where,), fault.size
    if fault.kind == "swapped":
        return next(swapped(circuit, *fault.where.split("/")))
    if fault.kind == "open":
        return next(broken(circuit, fault.where))
    if fault.kind == "joint":
        return next(in_contact(circuit, fault.where, one(size)))
    if fault.kind == "grounded":
        return touched(circuit, fault.where, size, core, fault.extra)
    change = {"shorted": -size, "turns": size, "gauge": 92.0 ** (2.0 * size / 39.0) - 1.0}[fault.kind]
    return next(scaled(circuit, where, one(abs(change)), math.copysign(1.0, change)))


def one(size):
    """A size that is known."""
    return ((size, 0.0, 1.0),)


def touched(circuit: FaultyCircuit, name: str, x: float, node: str, ohm: float) -> FaultyCircuit:
    """An element touching a node at a fraction of it."""
    tapped = cut(circuit, name, x)
    return replace(tapped, elements=(*tapped.elements, Element("touch", f"{name} tap", node, ohm)))


def cut(circuit: FaultyCircuit, name: str, x: float) -> FaultyCircuit:
    """An element in two parts that spread together, as `circuits` cuts it, at any place."""
    element = circuit.element(name)
    parts = [(f"{name} (a)", element.a, f"{name} tap", x), (f"{name} (b)", f"{name} tap", element.b, 1.0 - x)]
    kept = [e for e in circuit.elements if e.name != name]
    new = [Element(n, a, b, share * element.ohm, 0.0, element.per_kelvin) for n, a, b, share in parts]
    directions = []
    for direction in circuit.directions:
        moved = {n: ohm for n, ohm in direction.parts.items() if n != name}
        if name in direction.parts:
            moved |= {n: share * direction.parts[name] for n, _, _, share in parts}
        directions.append(replace(direction, parts=moved))
    together = Direction(element.sd_ohm, {n: share for n, _, _, share in parts})
    return replace(circuit, elements=(*kept, *new), directions=(*directions, together))
