"""What a diagnosis of very many readings costs, by causes and, beside it, by matrices.

    python -m tests.benchmarks.many_readings

Stars of 10, 14 and 20 pins with every pair read, one winding a fifth short: what a fixture brings. The
dictionary is solved before and not counted. Both ways must give the same probabilities.
"""

from __future__ import annotations

import random
import time
from itertools import combinations
from unittest.mock import patch

from acquire.physics.common import PairReading
from acquire.records import Pair, Pin, Purpose, Sheet, Step
from acquire.steps.pairs import PairTable
from acquire.verdict import covariances
from acquire.verdict.diagnose import findings, prepare
from tests.known_sheets import lead, winding

ROUNDS = 3


def star(count):
    """A star without a neutral to touch: each pair reads two windings."""
    pins = [str(number + 1) for number in range(count)]
    windings = [winding(f"w{p}", f"{p}'", "star", 10.0 + 0.3 * n, 0.05, 300) for n, p in enumerate(pins)]
    return Sheet(
        name="Star",
        about="invented",
        content_hash=f"star {count}",
        reference_celsius=20.0,
        pins=tuple(Pin(pin) for pin in pins),
        core="core",
        branches=(*(lead(pin, 0.02) for pin in pins), *windings),
        steps=tuple(Step(f"{a} {b}", Pair(a, b)) for a, b in combinations(pins, 2)),
    )


def readings_of(sheet, table):
    """Every pair, one part in ten thousand unsure; the seventh winding has a fifth less."""
    dice, found = random.Random(1), []
    off = {pin.name: dice.gauss(0.0, 0.1) for pin in sheet.pins} | {"7": -2.4}
    for step in sheet.steps:
        ohm = table.nominal_ohm(step.pair) + off[step.pair.a] + off[step.pair.b]
        found.append(PairReading(step.pair, ohm * (1.0 + dice.gauss(0.0, 1e-4)), 1e-4 * ohm))
    return found


def timed(sheet, table, readings, most):
    """(seconds of each round, what was found) with matrices for up to so many readings."""
    seconds = []
    with patch.object(covariances, "_MANY", most):
        for _ in range(ROUNDS):
            began_s = time.perf_counter()
            found = findings(sheet, table, readings)
            seconds.append(time.perf_counter() - began_s)
    return sorted(seconds), found


def main():
    """A line for each star."""
    for count in (10, 14, 20):
        sheet = star(count)
        table = PairTable(sheet)
        readings = readings_of(sheet, table)
        prepare(sheet, Purpose.INCOMING)
        (causes, found), (matrices, same) = (timed(sheet, table, readings, most) for most in (0, 10**6))
        assert [f.case for f in found[:3]] == [f.case for f in same[:3]]
        assert all(abs(a.probability - b.probability) < 1e-6 for a, b in zip(found, same, strict=True))
        told = "; ".join(
            f"{way} {each[len(each) // 2]:.2f} s ({each[0]:.2f} to {each[-1]:.2f})"
            for way, each in (("by causes", causes), ("by matrices", matrices))
        )
        print(f"{count} pins, {len(readings)} readings: {told}")


if __name__ == "__main__":
    main()
