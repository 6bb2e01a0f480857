"""How often the diagnosis is right, how honest its probabilities are, and what wrong probes do.

Run: `python -m tests.benchmarks.diagnosis` (short) or `... --units 2000` for the figures in DEVELOPERS.md.
For each sheet, so many units of every kind of fault, places and sizes drawn from the ranges of the fault
dictionary, read by a bench meter in hands that touch a wrong pair in one touch of twenty and repeat a slip in
one of seven. Sim makes the units and reckons their circuits; acquire reads, matches, decides and explains.

"Tellable": on readings without any error no other fault of the dictionary, of whatever size, explains them
nearly as well (chi-square less than 6 worse). Where one does, ohms cannot tell them apart, and which comes
first is up to the priors; the table says how often that is. Calibration weighs the kinds by their prior,
since probabilities answer a shop's mixture of faults and not a table with as many of each.
"""

from __future__ import annotations

import argparse
import math
import random
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from acquire.records import Outcome, Purpose
from acquire.steps.unit import Order
from acquire.verdict.diagnose import casebook, findings
from acquire.verdict.dictionary import PRIORS
from sim.faults import Fault
from sim.units import UNIT_TYPES
from tests.benchmarks.diagnosis_scene import BENCH, HAND, Bench, Planted, faulty, good_unit

PASSING = (Outcome.PASS, Outcome.CONDITIONAL_PASS)
FAILING = (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)


def log_uniform(dice, low, high):
    """Any decade as likely as the next."""
    return math.exp(dice.uniform(math.log(low), math.log(high)))


def draw(name, kind, dice):  # noqa: PLR0911  (one return a kind reads best)
    """One fault of a kind, anywhere it can be, of any size it can have."""
    coil = dice.choice(kind.coils).name
    pin = dice.choice(kind.pins)
    if name == "healthy":
        return Planted(name, ())
    if name in ("warm", "cold"):
        kelvin = log_uniform(dice, 1.5, 90.0 if name == "warm" else 25.0)
        return Planted(name, (), kelvin=kelvin if name == "warm" else -kelvin)
    if name == "lead_zero":
        ohm = log_uniform(dice, 0.04, 2.0) * dice.choice((1, -1))
        return Planted(name, ("high",) if ohm > 0 else ("low",), lead_zero_ohm=ohm)
    if name == "open_winding":
        return Planted(name, (coil,), (Fault("open", coil),))
    if name == "open_pin":
        return Planted(name, (pin,), (Fault("joint", pin, math.inf),))
    if name == "bad_joint":
        return Planted(name, (pin,), (Fault("joint", pin, log_uniform(dice, 0.05, 50.0), extra=1e-9),))
    if name == "shorted_turns":
        return Planted(name, (coil,), (Fault("shorted", coil, log_uniform(dice, 0.01, 0.9)),))
    if name in ("too_many_turns", "too_few_turns"):
        share = log_uniform(dice, 0.005, 0.08)
        return Planted(name, (coil,), (Fault("turns", coil, share if name == "too_many_turns" else -share),))
    if name in ("wire_too_thin", "wire_too_thick"):
        steps = dice.choices((0.5, 1.0), (0.4, 0.6))[0]
        return Planted(name, (coil,), (Fault("gauge", coil, steps if name == "wire_too_thin" else -steps),))
    if name == "grounded":
        ground = Fault("grounded", coil, dice.random(), extra=log_uniform(dice, 0.1, 3e5))
        return Planted(name, (coil,), (ground,))
    if name == "winding_to_winding":
        one, other = (c.name for c in dice.sample(kind.coils, 2))
        return Planted(
            name,
            (one, other),
            bridge=(one, dice.random(), other, dice.random(), log_uniform(dice, 0.1, 3e5)),
        )
    if name == "swapped_pins":
        a, b = dice.sample(kind.pins, 2)
        return Planted(name, (a, b), (Fault("swapped", f"{a}/{b}"),))
    if name == "star_delta":
        return Planted(name, tuple(c.name for c in kind.coils), (Fault("delta"),))
    joint = Fault("joint", pin, log_uniform(dice, 0.05, 50.0), extra=1e-9)
    short = Fault("shorted", coil, log_uniform(dice, 0.01, 0.9))
    return Planted("two_faults", (pin, coil), (joint, short))


def kinds_of(kind):
    """What can be planted in a unit type."""
    skipped = {"strand_broken", "aluminium_wire"}
    if kind.key != "quern-12":
        skipped.add("star_delta")
    return [name for name in PRIORS if name not in skipped] + ["two_faults"]


def is_case(case, planted):
    """Whether a case of the dictionary is the planted fault, in its place."""
    if planted.name == "star_delta":
        return case.fault == planted.name
    if planted.name in ("winding_to_winding", "swapped_pins", "two_faults"):
        return case.fault == planted.name and set(case.where) == set(planted.where)
    return case.fault == planted.name and case.where == planted.where


def explained(bench, readings):
    """Findings as a bench would have them; incoming, for that is where all faults occur."""
    return findings(
        bench.sheet,
        bench.table,
        readings,
        purpose=Purpose.INCOMING,
        four_wire_below_ohm=bench.meter.four_wire_below_ohm,
    )


def tellable(bench, story, planted):
    """Whether readings without error leave no other fault that explains them nearly as well."""
    book = casebook(bench.sheet, Purpose.INCOMING, bench.meter.four_wire_below_ohm)
    pairs = [p for p, _, _ in story.exact]
    ohms = []
    for pair, ohm, _ in story.exact:
        two_wire = bench.table.nominal_ohm(pair) >= bench.meter.four_wire_below_ohm
        ohms.append(ohm + (planted.lead_zero_ohm if two_wire else 0.0))
    told = book.explain(pairs, ohms, [u or 1e-6 for _, _, u in story.exact])
    fits = book.laws.conducts[:, book.columns(pairs)] == np.isfinite(ohms)
    chi_square = np.where(fits.all(axis=1), told.chi_square, np.inf)
    best = [chi_square[book.laws.case == index].min() for index in range(len(book.cases))]
    of_truth = min(
        (c for c, case in zip(best, book.cases, strict=True) if is_case(case, planted)), default=np.inf
    )
    of_others = min(c for c, case in zip(best, book.cases, strict=True) if not is_case(case, planted))
    return of_others > of_truth + 6.0


def outside(bench, story, planted):
    """Whether any true value is beyond a limit by more than the meter's expanded uncertainty."""
    for step in bench.sheet.steps:
        limits = bench.table.limits_for(step, Purpose.FINAL)
        ohm = bench._exact(step.pair)
        u = bench.meter.u_ohm(min(ohm, 1e9), four_wire=ohm < bench.meter.four_wire_below_ohm)
        low = -math.inf if limits.lower_ohm is None else limits.lower_ohm
        high = math.inf if limits.upper_ohm is None else limits.upper_ohm
        if ohm < low - 4 * u or ohm > high + 4 * u:
            return True
    return False


def one_kind(args):
    """All units of one kind of fault on one sheet; one process's share."""
    key, name, units, meter, slips, order, seed = args
    kind, dice = UNIT_TYPES[key], random.Random(f"{seed} {key} {name}")
    bench = Bench(kind, meter, dice, slips=slips, order=order)
    tally, calls = Counter(), []
    for _ in range(units):
        planted = draw(name, kind, dice)
        story = bench.run(faulty(kind, good_unit(kind, dice), planted), planted)
        tally["units"] += 1
        for field in (
            "touches",
            "seconds",
            "floor_s",
            "wrong",
            "wrong_hinted",
            "wrong_named",
            "wrong_judged",
            "wrong_alike",
            "wrong_on_faulty",
            "right",
            "false_hints",
        ):
            tally[field] += getattr(story, field)
        failing = story.outcome in FAILING
        tally["failed"] += failing
        if name != "healthy" and story.outcome in PASSING and outside(bench, story, planted):
            tally["passed though outside"] += 1
        if not failing:
            continue
        found = explained(bench, story.readings)
        hit = [is_case(f.case, planted) for f in found]
        calls.append((found[0].probability, hit[0]))
        told = tellable(bench, story, planted)
        tally["tellable"] += told
        tally["tellable first"] += told and hit[0]
        tally["first"] += hit[0]
        tally["first two"] += any(hit[:2])
        tally["right fault, any place"] += any(f.case.fault == planted.name for f in found[:1])
        if found[0].case.fault in ("shorted_turns", "too_few_turns") and name in ("bad_joint", "warm"):
            tally["high called shorted"] += 1
    return key, name, tally, calls


def one_shift(args):
    """A shift of units as a shop gets them: kinds by their prior, in one order of working."""
    key, units, meter, slips, order, seed = args
    kind, dice = UNIT_TYPES[key], random.Random(f"{seed} {key} shift")
    bench = Bench(kind, meter, dice, slips=slips, order=order)
    names = [name for name in kinds_of(kind) if name in PRIORS]
    tally = Counter()
    for _ in range(units):
        name = dice.choices(names, [PRIORS[n] for n in names])[0]
        planted = draw(name, kind, dice)
        story = bench.run(faulty(kind, good_unit(kind, dice), planted), planted)
        failing, beyond = story.outcome in FAILING, outside(bench, story, planted)
        tally["healthy"] += name == "healthy"
        tally["healthy failed"] += name == "healthy" and failing
        tally["beyond a limit"] += beyond
        tally["beyond, passed"] += beyond and story.outcome in PASSING
        tally["beyond, not judged"] += beyond and story.outcome is Outcome.CANNOT_JUDGE
        tally["wrong probes"] += story.wrong
        tally["touches"] += story.touches
        tally["seconds"] += story.seconds
        tally["floor_s"] += story.floor_s
    return key, order, tally


def report_shift(key, order, tally, units):
    """One line a sheet and order."""
    print(
        f"{key:10} {order:7} {tally['healthy failed']:3} of {tally['healthy']} healthy failed, "
        f"{tally['beyond, passed']:3} of {tally['beyond a limit']} beyond a limit passed "
        f"({tally['beyond, not judged']} not judged); "
        f"{tally['wrong probes']} wrong probes; {tally['touches'] / units:5.2f} touches, "
        f"{tally['seconds'] / units:5.1f} s a unit, floor {tally['floor_s'] / units:5.1f} s"
    )


def percent(part, whole):
    """As text; a dash where there is nothing."""
    return f"{100 * part / whole:6.1f}" if whole else "     -"


def report(key, rows, meter, order):
    """Table of one sheet, its calibration, and what wrong probes did."""
    print(f"\n{UNIT_TYPES[key].title}: {meter.name}, {order} order")
    print(
        f"{'fault':20}{'units':>7}{'failed':>8}{'1st':>7}{'1st two':>8}{'tellable':>9}{'1st of those':>13}"
        f"{'outside, passed':>17}"
    )
    total = Counter()
    for name, tally, _ in rows:
        total.update(tally)
        failed = tally["failed"]
        print(
            f"{name:20}{tally['units']:7}{failed:8} {percent(tally['first'], failed)}  "
            f"{percent(tally['first two'], failed)}   {percent(tally['tellable'], failed)}"
            f"       {percent(tally['tellable first'], tally['tellable'])}{tally['passed though outside']:17}"
        )
    tellable = total["tellable"]
    print(
        f"tellable units with the true fault first: "
        f"{percent(total['tellable first'], tellable)} % of {tellable}"
    )
    healthy = next(tally for name, tally, _ in rows if name == "healthy")
    print(
        f"healthy units failed: {healthy['failed']} of {healthy['units']} "
        f"({healthy['wrong']} wrong probes among them)"
    )
    apart = total["wrong"] - total["wrong_alike"] - total["wrong_on_faulty"]
    print(
        f"wrong probes that read otherwise: {apart}; hinted {percent(total['wrong_hinted'], apart)} %, "
        f"right pair named {percent(total['wrong_named'], apart)} %, "
        f"judged {percent(total['wrong_judged'], apart)} %; on look-alikes: {total['wrong_alike']}"
    )
    print(
        f"false hints: {total['false_hints']} of {total['right']} right touches; healthy units "
        f"{healthy['false_hints']} of {healthy['right']}"
    )
    print(f"high resistance called shorted turns: {total['high called shorted']}")
    print(
        f"healthy unit: {healthy['seconds'] / healthy['units']:.1f} s, floor "
        f"{healthy['floor_s'] / healthy['units']:.1f} s, touches {healthy['touches'] / healthy['units']:.2f}"
    )
    calibration(rows)


def calibration(rows):
    """Of those called so sure, how many are right; kinds weighted by their prior."""
    bins = defaultdict(lambda: [0.0, 0.0, 0.0, 0])
    for name, tally, calls in rows:
        if name == "two_faults":
            continue
        weight = PRIORS[name] / tally["units"]
        for probability, hit in calls:
            cell = bins[min(int(probability * 10), 9)]
            cell[0] += weight
            cell[1] += weight * hit
            cell[2] += weight * probability
            cell[3] += 1
    print("called   units   said   right")
    for index in sorted(bins):
        weight, hits, said, count = bins[index]
        print(
            f"{10 * index:3}-{10 * index + 10:3} %{count:7}"
            f"{100 * said / weight:7.1f}{100 * hits / weight:8.1f}"
        )


def main():
    """Parse, spread over the processors, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--units", type=int, default=60, help="units of each kind of fault on each sheet")
    parser.add_argument("--slips", type=float, default=0.05, help="share of touches on a wrong pair")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--meter", choices=("bench", "hand"), default="bench")
    parser.add_argument("--order", type=Order, choices=list(Order), default=Order.GUIDED)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument(
        "--shift", type=int, default=0, help="units of a mixed shift, in either order, instead"
    )
    options = parser.parse_args()
    meter = BENCH if options.meter == "bench" else HAND
    if options.shift:
        shifts = [
            (key, options.shift, meter, options.slips, order, options.seed)
            for key in UNIT_TYPES
            for order in Order
        ]
        with ProcessPoolExecutor(options.processes) as pool:
            for key, order, tally in pool.map(one_shift, shifts):
                report_shift(key, order, tally, options.shift)
        return
    work = [
        (key, name, options.units, meter, options.slips, options.order, options.seed)
        for key, kind in UNIT_TYPES.items()
        for name in kinds_of(kind)
    ]
    by_sheet = defaultdict(list)
    with ProcessPoolExecutor(options.processes) as pool:
        for key, name, tally, calls in pool.map(one_kind, work):
            by_sheet[key].append((name, tally, calls))
    for key, rows in by_sheet.items():
        report(key, rows, meter, options.order)


if __name__ == "__main__":
    main()
