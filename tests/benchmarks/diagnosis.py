"""How often the diagnosis is right, how honest its probabilities are, and what wrong probes do.

Run: `python -m tests.benchmarks.diagnosis` (short) or `... --units 2000` for the figures in DEVELOPERS.md;
`--meter hand-2000` for a meter that cannot judge much, `--shift 1000` for shifts in guided and free order.
For each sheet, so many units of every kind of fault, places and sizes drawn from the ranges of the fault
dictionary. Sim's hands touch a wrong pair in one touch of twenty and repeat a slip in one of seven; sim's
meter converts; the whole heart reads, matches, decides and explains (see diagnosis_bench).

"Tellable": on readings without any error no other fault of the dictionary, of whatever size, explains them
nearly as well (chi-square less than 6 worse). Where one does, ohms cannot tell them apart, and which comes
first is up to the priors; the table says how often, and the second one which faults those are. Calibration
weighs the kinds by their prior, since probabilities answer a shop's mixture of faults and not a table with as
many of each.
"""

from __future__ import annotations

import argparse
import math
import random
import time
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np

from acquire.records import Outcome, Purpose
from acquire.records.words import FAILING
from acquire.steps.unit import Order
from acquire.verdict.diagnose import casebook, double_casebook
from acquire.verdict.dictionary import PRIORS
from acquire.verdict.weighing import visible
from sim.units import UNIT_TYPES
from tests.benchmarks import diagnosis_tables as tables
from tests.benchmarks.diagnosis_bench import METERS, Bench, exact
from tests.benchmarks.diagnosis_scene import draw, faulty, good_unit, kinds_of

PASSING = (Outcome.PASS, Outcome.CONDITIONAL_PASS)
COUNTED = (
    "touches",
    "key_presses",
    "seconds",
    "wrong",
    "wrong_hinted",
    "wrong_named",
    "wrong_judged",
    "wrong_alike",
    "wrong_on_faulty",
    "right",
    "false_hints",
    "slid",
)
NEARLY = 6.0
"""Chi-square by which the next explanation must be worse, readings being exact."""
GOOD_ENOUGH = 18.5
"""Chi-square of the reading furthest off, up to which a set looks like a good unit's (1 in 60 000)."""


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
    seen = visible(book, [pair for pair, _, _ in story.readings])
    shows = {case.faults[0] for case, see in zip(book.cases, seen, strict=True) if see}
    kinds = planted.kinds or (planted.name,)
    parts = [part for part in zip(kinds, planted.where, strict=True) if (part[0], (part[1],)) in shows]
    if len(parts) == len(kinds):
        return planted
    return replace(
        planted, name=parts[0][0] if parts else "healthy", where=tuple(p for _, p in parts), kinds=()
    )


def rivals(bench, story, planted):
    """Other faults that explain readings without error nearly as well as the true one."""
    below_ohm = bench.four_wire_below_ohm or 0.0
    pairs = [p for p, _, _ in story.exact]
    ohms = []
    for pair, ohm, _ in story.exact:
        two_wire = bench.table.nominal_ohm(pair) >= below_ohm
        ohms.append(ohm + (planted.lead_zero_ohm if two_wire else 0.0))
    books = [casebook(bench.sheet, Purpose.INCOMING, below_ohm)]
    if planted.name == "two_faults":
        books.append(double_casebook(bench.sheet, Purpose.INCOMING))
    best = []
    for book in books:
        told = book.explain(pairs, ohms, [u or 1e-6 for _, _, u in story.exact])
        fits = book.laws.conducts[:, book.columns(pairs)] == np.isfinite(ohms)
        chi_square = np.where(fits.all(axis=1), told.chi_square, np.inf)
        best += [(chi_square[book.laws.case == index].min(), case) for index, case in enumerate(book.cases)]
    of_truth = min((c for c, case in best if is_case(case, planted)), default=np.inf)
    if not math.isfinite(of_truth):
        return {"its own circuit differs"}
    return {
        case.fault if case.fault != planted.name else f"{case.fault} elsewhere"
        for c, case in best
        if not is_case(case, planted) and c <= of_truth + NEARLY
    }


def outside(bench, story, planted):
    """Whether any true value is beyond a limit by more than the meter's expanded uncertainty."""
    u_of = {pair: u for pair, _, u in story.readings}
    for step in bench.sheet.steps:
        limits = bench.table.limits_for(step, Purpose.INCOMING)
        ohm = exact(bench.unit, step.pair, planted.kelvin)
        low = -math.inf if limits.lower_ohm is None else limits.lower_ohm
        high = math.inf if limits.upper_ohm is None else limits.upper_ohm
        margin = 4 * u_of.get(step.pair, 0.0)
        if ohm < low - margin or ohm > high + margin:
            return True
    return False


def seems_good(bench, story):
    """Whether the readings, right or wrong probes, are just those of a good unit: then nothing can tell."""
    below_ohm = bench.four_wire_below_ohm or 0.0
    book = casebook(bench.sheet, Purpose.INCOMING, below_ohm)
    read = [r for r in story.readings if math.isfinite(r[1])]
    for index, (pair, ohm, u_ohm) in enumerate(read):
        others = {p: (o, u) for k, (p, o, u) in enumerate(read) if k != index}
        mean, sd = bench.table.predicted(pair, others)
        if math.isinf(mean) or (ohm - mean) ** 2 > GOOD_ENOUGH * (sd**2 + u_ohm**2):
            return False
    columns = book.columns([p for p, _, _ in story.readings])
    return all(book.good.conducts[0, columns] == [math.isfinite(o) for _, o, _ in story.readings])


def one_kind(args):
    """All units of one kind of fault on one sheet; one process's share."""
    key, name, units, meter, slips, order, seed, hurried = args
    kind, dice = UNIT_TYPES[key], random.Random(f"{seed} {key} {name}")
    bench = Bench(kind, meter, f"{seed} {key} {name}", slips=slips, order=order, hurried=hurried)
    tally, calls = Counter(), []
    for _ in range(units):
        planted = draw(name, kind, dice)
        story = bench.run(faulty(kind, good_unit(kind, dice), planted), planted)
        count_unit(bench, story, planted, tally, calls)
    bench.close()
    return key, name, tally, calls


def count_unit(bench, story, planted, tally, calls):
    """Add one unit to the tally."""
    tally["units"] += 1
    for field in COUNTED:
        tally[field] += getattr(story, field)
    failing, held = story.outcome in FAILING, story.outcome is None
    tally["failed"] += failing
    tally["held"] += held
    tally["no end"] += held and "no end" in story.result.held
    tally["not judged"] += story.outcome is Outcome.CANNOT_JUDGE
    passed = story.outcome in PASSING
    tally["contradiction told"] += passed and any("foretell" in each for each in story.result.findings)
    if planted.name != "healthy" and passed and outside(bench, story, planted):
        tally["passed though outside"] += 1
        tally["of those, just like a good unit"] += seems_good(bench, story)
    if not (failing or held) or not story.findings:
        return
    tally["explained"] += 1
    found, planted = story.findings, as_measured(bench, story, planted)
    hit = [is_case(f.case, planted) for f in found]
    calls.append((found[0].probability, hit[0], found[0].case.fault))
    others = rivals(bench, story, planted)
    tally["tellable"] += not others
    tally["tellable first"] += not others and hit[0]
    for rival in others:
        tally[f"rival {rival}"] += 1
    tally["first"] += hit[0]
    tally["first two"] += any(hit[:2])
    if found[0].case.fault in ("shorted_turns", "too_few_turns") and planted.name in ("bad_joint", "warm"):
        tally["high called shorted"] += 1


def one_shift(args):
    """A shift of units as a shop gets them: kinds by their prior, in one order of working."""
    key, units, meter, slips, order, seed = args
    kind, dice = UNIT_TYPES[key], random.Random(f"{seed} {key} shift")
    bench = Bench(kind, meter, f"{seed} {key} shift", slips=slips, order=order)
    names = [name for name in kinds_of(kind) if name in PRIORS]
    tally = Counter()
    for _ in range(units):
        name = dice.choices(names, [PRIORS[n] for n in names])[0]
        planted = draw(name, kind, dice)
        story = bench.run(faulty(kind, good_unit(kind, dice), planted), planted)
        failing, beyond = story.outcome in FAILING, outside(bench, story, planted)
        passed = story.outcome in PASSING
        tally["healthy"] += name == "healthy"
        tally["healthy failed"] += name == "healthy" and failing
        tally["healthy held"] += name == "healthy" and story.outcome is None
        tally["beyond a limit"] += beyond
        tally["beyond, passed"] += beyond and passed
        tally["like a good unit"] += beyond and passed and seems_good(bench, story)
        tally["beyond, held"] += beyond and story.outcome is None
        tally["not judged"] += story.outcome is Outcome.CANNOT_JUDGE
        for field in ("wrong", "touches", "seconds"):
            tally[field] += getattr(story, field)
            tally[f"healthy {field}"] += getattr(story, field) if name == "healthy" else 0
    tally["floor_s"] = bench.floor_s()
    bench.close()
    return key, order, tally


def main():
    """Parse, spread over the processors, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--units", type=int, default=20, help="units of each kind of fault on each sheet")
    parser.add_argument("--slips", type=float, default=0.05, help="share of touches on a wrong pair")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--meter", choices=METERS, default="bench")
    parser.add_argument("--order", type=Order, choices=list(Order), default=Order.GUIDED)
    parser.add_argument("--sheet", choices=UNIT_TYPES, help="one unit type only")
    parser.add_argument(
        "--hurried", action="store_true", help="hands move on before this meter can show that they lifted"
    )
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument(
        "--shift", type=int, default=0, help="units of a mixed shift, in either order, instead"
    )
    options = parser.parse_args()
    began_s = time.perf_counter()
    keys = [options.sheet] if options.sheet else list(UNIT_TYPES)
    with ProcessPoolExecutor(options.processes) as pool:
        if options.shift:
            for key, order, tally in pool.map(
                one_shift,
                [
                    (key, options.shift, options.meter, options.slips, order, options.seed)
                    for key in keys
                    for order in Order
                ],
            ):
                tables.shift(key, order, tally, options.shift)
        else:
            kinds = [(key, name) for key in keys for name in kinds_of(UNIT_TYPES[key])]
            work = [
                (
                    *each,
                    options.units,
                    options.meter,
                    options.slips,
                    options.order,
                    options.seed,
                    options.hurried,
                )
                for each in kinds
            ]
            by_sheet = defaultdict(list)
            for key, name, tally, calls in pool.map(one_kind, work):
                by_sheet[key].append((name, tally, calls))
            together = []
            for key, rows in by_sheet.items():
                kind, how = UNIT_TYPES[key], f"{options.meter}, {options.order} order"
                floor_s = Bench(kind, options.meter, "", slips=0.0, order=options.order).floor_s()
                tables.sheet(kind, rows, how, floor_s)
                together += tables.calls_of(kind, rows)
            print("\nAll sheets together")
            tables.calibration(together)
    print(f"\n{time.perf_counter() - began_s:.0f} s with {options.processes} processes")


if __name__ == "__main__":
    main()
