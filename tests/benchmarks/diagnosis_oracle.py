"""The diagnosis beside an oracle that knows the law of every error: how often is each right?

Run: nice -n 15 python -m tests.benchmarks.diagnosis_oracle [--units 200] [--seed 1]

Units are drawn from the fault dictionary by its priors, one fault each, of any size it can have; their
windings spread as the sheet says. Pairs are solved exactly (numpy, from the Laplacian), read by a simulated
six-digit meter whose thermometer, lead zero, gain and offset are wrong for the whole unit, and corrected by
the product. The product is then asked for its first explanation. The oracle weighs the same faults, but by
whole matrices of its own: means and slopes by its own solver, and the covariance of the errors as they are
drawn; it also knows that there is one fault, and that no probe slips. The goal: the product is right no more
than 3 points less often. Exit code 1 where it is not.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter

import numpy as np
from scipy.sparse.csgraph import connected_components

from acquire.physics.common import PairReading
from acquire.records import Pair, Purpose
from acquire.steps.pairs import PairTable
from acquire.verdict.circuits import healthy
from acquire.verdict.diagnose import findings
from acquire.verdict.dictionary import cases
from tests.known_sheets import FATHOM, PLOVER, QUERN
from tests.true_units import PER_KELVIN, SIX_DIGITS, Errors, corrected

SHEETS = {"Plover 80": PLOVER, "Quern 12": QUERN, "Fathom 7": FATHOM}
POINTS = 3.0
ZERO_U_OHM, CONTACT_OHM = 0.005, 0.01
"""As `true_units` draws them."""


def solved(elements, ohms, places, pairs, zero_ohm=0.0):
    """Ohms of pairs, infinite where no path joins them; by the pseudo-inverse of the Laplacian."""
    nodes = sorted(
        {n for e in elements for n in (e.a, e.b)} | {places.get(p, p) for pair in pairs for p in pair}
    )
    at = {node: index for index, node in enumerate(nodes)}
    laplacian = np.zeros((len(nodes), len(nodes)))
    for element, ohm in zip(elements, ohms, strict=True):
        if math.isfinite(ohm):
            i, j, g = at[element.a], at[element.b], 1.0 / max(ohm, 1e-9)
            laplacian[[i, j], [i, j]] += g
            laplacian[[i, j], [j, i]] -= g
    _, island = connected_components(laplacian != 0.0)
    inverse = np.linalg.pinv(laplacian, rcond=1e-15, hermitian=True)
    ends = [(at[places.get(a, a)], at[places.get(b, b)]) for a, b in pairs]
    return np.array(
        [
            inverse[i, i] + inverse[j, j] - 2.0 * inverse[i, j] + zero_ohm
            if island[i] == island[j]
            else np.inf
            for i, j in ends
        ]
    )


def moved(circuit, own, along):
    """(ohms of the elements, ohms of the zero) with elements off by `own` and directions by `along`."""
    ohms = {e.name: e.ohm + off for e, off in zip(circuit.elements, own, strict=True)}
    for direction, size in zip(circuit.directions, along, strict=True):
        for name, ohm in direction.parts.items():
            ohms[name] += ohm * size
    zero = circuit.zero_ohm + sum(d.zero_ohm * s for d, s in zip(circuit.directions, along, strict=True))
    return [ohms[e.name] for e in circuit.elements], zero


def read(circuit, own, along, pairs):
    """Ohms of the pairs of a circuit that is off by so much."""
    ohms, zero = moved(circuit, own, along)
    return solved(circuit.elements, ohms, circuit.places, pairs, zero)


def law(circuit, pairs):
    """(mean, covariance) of the pairs of a circuit, linear in what is unsure."""
    still, flat = np.zeros(len(circuit.elements)), np.zeros(len(circuit.directions))
    mean, moves = read(circuit, still, flat, pairs), []
    for scale, base in ((1e-3, still), (1e-3, flat)):
        spreads = (
            [e.sd_ohm for e in circuit.elements] if base is still else [d.sd for d in circuit.directions]
        )
        for k, sd in enumerate(spreads):
            if sd > 0.0 and (base is flat or math.isfinite(circuit.elements[k].ohm)):
                step = np.eye(len(base))[k] * scale * sd
                there = read(circuit, *((step, flat) if base is still else (still, step)), pairs)
                shut = np.isfinite(mean)
                moves.append(np.where(shut, there, 0.0) / scale - np.where(shut, mean, 0.0) / scale)
    moves = np.array(moves).reshape(-1, len(pairs))
    return mean, moves.T @ moves


def drawn(case, dice, pairs):
    """Readings of a unit with a fault of the dictionary: exact ohms, its size and windings as they fall."""
    circuit = case.circuits[dice.choice(len(case.circuits), p=[c.weight for c in case.circuits])]
    while True:
        own = [e.sd_ohm * dice.standard_normal() for e in circuit.elements]
        along = [d.sd * dice.standard_normal() for d in circuit.directions]
        sizes = zip(circuit.sizes, along, circuit.directions, strict=False)
        if all(d.low <= size + off <= d.high for size, off, d in sizes):
            ohms, zero = moved(circuit, own, along)
            return solved(circuit.elements, ohms, circuit.places, pairs, zero)


def covariance_of_errors(ohms):
    """As `true_units.Errors.drawn` and `corrected` make them, all with two wires."""
    fixed = SIX_DIGITS.fraction_of_range * SIX_DIGITS.range_full_scale_si / math.sqrt(3.0)
    shared = [
        0.5 * PER_KELVIN * ohms,
        np.full(len(ohms), ZERO_U_OHM),
        SIX_DIGITS.fraction_of_reading / math.sqrt(3.0) * ohms,
        np.full(len(ohms), fixed),
    ]
    return np.array(shared).T @ np.array(shared) + np.diag(CONTACT_OHM**2 + (2e-6 * ohms) ** 2 + 1e-12)


def oracle(laws, ohms, priors):
    """The likeliest case: index."""
    shut = np.isfinite(ohms)
    errors, of_case = covariance_of_errors(ohms[shut]), np.full(len(priors), -np.inf)
    for number, weight, mean, covariance in laws:
        if np.array_equal(np.isfinite(mean), shut):
            whole, off = covariance[np.ix_(shut, shut)] + errors, ohms[shut] - mean[shut]
            _, log_det = np.linalg.slogdet(whole)
            log_like = math.log(weight) - 0.5 * (log_det + off @ np.linalg.solve(whole, off))
            of_case[number] = np.logaddexp(of_case[number], log_like)
    return int(np.argmax(of_case + np.log(priors)))


def judged(sheet, units, seed):
    """How often product and oracle are right on one sheet, and how often they say the same."""
    dice, table = np.random.default_rng(seed), PairTable(sheet)
    every, tally = cases(sheet, Purpose.INCOMING), Counter()
    pairs = tuple(dict.fromkeys([Pair(*s.pair) for s in sheet.steps] + [Pair(*p) for p in table.pairs()]))[
        :15
    ]
    priors = np.array([case.prior for case in every])
    laws = [(n, c.weight, *law(c, pairs)) for n, case in enumerate(every) for c in case.circuits]
    assert len(healthy(sheet).elements) == len(every[0].circuits[0].elements)
    for _ in range(units):
        number = int(dice.choice(len(every), p=priors / priors.sum()))
        exact, errors = drawn(every[number], dice, pairs), Errors.drawn(dice)
        readings = []
        for place, (pair, ohm) in enumerate(zip(pairs, exact, strict=True)):
            if math.isinf(ohm):
                readings.append(PairReading(pair, ohm, 0.0))
                continue
            value = corrected(lambda t, ohm=ohm: ohm + 0.0 * t, 9.0 * place, errors)
            readings.append(
                PairReading(pair, value.reference_ohm, value.standard_uncertainty_ohm, value.terms)
            )
        told = findings(sheet, table, readings)[0]
        best = oracle(laws, np.array([r.ohm for r in readings]), priors)
        tally["product"] += told.case.faults == every[number].faults
        tally["oracle"] += best == number
        tally["same"] += told.case.faults == every[best].faults
    return tally, len(laws)


def main() -> int:
    """Every sheet, and both together."""
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--units", type=int, default=200)
    arguments.add_argument("--seed", type=int, default=1)
    chosen = arguments.parse_args()
    whole = Counter()
    for name, sheet in SHEETS.items():
        tally, circuits = judged(sheet, chosen.units, chosen.seed)
        shares = ", ".join(
            f"{who} {100.0 * tally[who] / chosen.units:.1f} %" for who in ("product", "oracle")
        )
        print(
            f"{name} ({circuits} circuits): right {shares}; both say the same of {tally['same']}", flush=True
        )
        whole += tally
    behind = 100.0 * (whole["oracle"] - whole["product"]) / (chosen.units * len(SHEETS))
    print(f"{len(SHEETS) * chosen.units} units: the product is right {behind:+.1f} points less often")
    return 1 if behind > POINTS else 0


if __name__ == "__main__":
    sys.exit(main())
