"""How often the diagnosis is right, how honest its probabilities are, and what wrong probes do.

Run: `python -m tests.benchmarks.diagnosis` (short) or `... --units 2000` for the figures in the README;
`--meter hand-2000` for a meter that cannot judge much, `--shift 1000` for shifts in guided and free order.
For each sheet, so many units of every kind of fault, places and sizes drawn from the ranges of the fault
dictionary. Sim's hands touch a wrong pair in one touch of twenty and repeat a slip in one of seven; sim's
meter converts; the whole heart reads, matches, decides and explains (see diagnosis_bench).

"Tellable": readings without any error would tell the fault from every other. "Told": the readings as they
were taken do, see diagnosis_theory; reckoned for the first `--theory` units of a kind. Where another fault
explains them as well, which comes first is up to the priors; the table says how often, the second one which
faults those are, the third why tellable ones were not first. Calibration weighs the kinds by their prior,
since probabilities answer a shop's mixture of faults and not a table with as many of each.

Each kind that is done goes to a file at once (`--out`), one JSON line; the same command goes on where it was
interrupted, and Ctrl-C prints what there is.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import time
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

from acquire.choices import FAILING
from acquire.records import FindingKind, Outcome, Purpose
from acquire.records.codes import Order
from acquire.steps.estimate import predicted
from acquire.verdict.diagnose import casebook
from acquire.verdict.dictionary import PRIORS
from acquire.verdict.weighing import LOWERING
from tests.benchmarks import diagnosis_tables as tables
from tests.benchmarks.diagnosis_bench import METERS, Bench, exact
from tests.benchmarks.diagnosis_scene import draw, faulty, good_unit, kinds_of
from tests.benchmarks.diagnosis_theory import (
    as_measured,
    exact_readings,
    is_case,
    rivals,
    taken_elsewhere,
)
from tests.known_units import UNIT_TYPES

OUTPUT = Path(__file__).resolve().parents[1] / "output"
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
GOOD_ENOUGH = 18.5
"""Chi-square of the reading furthest off, up to which a set looks like a good unit's (1 in 60 000)."""


def outside(bench, story, planted):
    """Whether any true value is beyond a limit by more than the meter's expanded uncertainty."""
    u_of = {pair: u for pair, _, u, _ in story.readings}
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
    for index, (pair, ohm, u_ohm, _) in enumerate(read):
        others = {p: (o, u) for k, (p, o, u, _) in enumerate(read) if k != index}
        mean, sd = predicted(bench.table, others).pair(pair)
        if math.isinf(mean) or (ohm - mean) ** 2 > GOOD_ENOUGH * (sd**2 + u_ohm**2):
            return False
    columns = book.columns([p for p, *_ in story.readings])
    return all(book.good.conducts[0, columns] == [math.isfinite(o) for _, o, *_ in story.readings])


def one_kind(args):
    """All units of one kind of fault on one sheet; one process's share."""
    key, name, units, meter, slips, order, seed, hurried, theory = args
    kind, dice = UNIT_TYPES[key], random.Random(f"{seed} {key} {name}")
    bench = Bench(kind, meter, f"{seed} {key} {name}", slips=slips, order=order, hurried=hurried)
    tally, calls = Counter(), []
    for _ in range(units):
        planted = draw(name, kind, dice)
        story = bench.run(faulty(kind, good_unit(kind, dice), planted), planted)
        count_unit(bench, story, planted, tally, calls)
        if tally["theory"] < theory:
            count_theory(bench, story, planted, tally)
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
    tally["no end"] += held and "no end" in story.result.remark
    tally["not judged"] += story.outcome is Outcome.CANNOT_JUDGE
    passed = story.outcome in PASSING
    tally["contradiction told"] += passed and any(
        each.kind is FindingKind.CONTRADICTION for each in story.result.found
    )
    tally["failed, with a wrong probe"] += failing and story.wrong > 0
    if planted.name != "healthy" and passed and outside(bench, story, planted):
        tally["passed though outside"] += 1
        tally["passed as a wrong probe"] += story.false_hints > 0
        tally["of those, just like a good unit"] += seems_good(bench, story)
    if not (failing or held) or not story.findings:
        return
    tally["explained"] += 1
    found, planted = story.findings, as_measured(bench, story, planted)
    hit = [is_case(f.case, planted) for f in found]
    calls.append((found[0].probability, hit[0], found[0].case.fault))
    tally["first"] += hit[0]
    tally["first two"] += any(hit[:2])
    case = found[0].case
    if planted.name in ("bad_joint", "warm") and {fault for fault, _ in case.faults} & LOWERING:
        tally["joint or warmth called shorted"] += 1
        tally["high called shorted"] += not reads_low(bench, story, case)


def count_theory(bench, story, planted, tally):
    """Would exact readings tell the fault, do those that were taken, and if it is not first, why?"""
    if not (story.outcome in FAILING or story.outcome is None) or not story.findings:
        return
    tally["theory"] += 1
    planted = as_measured(bench, story, planted)
    first = is_case(story.findings[0].case, planted)
    others = rivals(bench, planted, exact_readings(bench, story, planted))
    others = {"its own circuit differs"} if others is None else others
    for rival in others:
        tally[f"rival {rival}"] += 1
    if others:
        return
    tally["tellable"] += 1
    tally["tellable first"] += first
    astray = taken_elsewhere(bench, story, planted)
    told = not astray and rivals(bench, planted, story.readings) == set()
    tally["told"] += told
    tally["told first"] += told and first
    if not first:
        tally["missed: a value of another pair was kept"] += astray
        tally["missed: by the meter's error another fault explains it as well"] += not (astray or told)
        tally["missed: though the readings tell it"] += told


def reads_low(bench, story, case):
    """Whether every winding that a case calls shorted has a reading below its nominal."""
    low = {
        branch.name
        for pair, ohm, *_ in story.readings
        if ohm < bench.table.nominal_ohm(pair) < math.inf
        for branch in bench.table.windings(pair)
    }
    return all(set(where) <= low for fault, where in case.faults if fault in LOWERING)


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


def measured(options, keys):
    """(key, name, tally, calls) of each kind as it is done, those on file first."""
    names = ("units", "meter", "slips", "order", "seed", "hurried", "theory")
    how = {name: str(getattr(options, name)) for name in names}
    options.out.parent.mkdir(parents=True, exist_ok=True)
    kept = [json.loads(line) for line in options.out.read_text().splitlines()] if options.out.exists() else []
    if any(each["how"] != how for each in kept):
        raise SystemExit(f"{options.out} holds figures of another run: name another file with --out.")
    done = {(each["key"], each["name"]) for each in kept}
    for each in kept:
        if each["key"] in keys and options.kind in (None, each["name"]):
            yield each["key"], each["name"], Counter(each["tally"]), each["calls"]
    shared = tuple(getattr(options, name) for name in names)
    every = ((key, name) for key in keys for name in kinds_of(UNIT_TYPES[key]))
    work = [(*each, *shared) for each in every if options.kind in (None, each[1])]
    for key, name, tally, calls in spread(
        one_kind, [w for w in work if w[:2] not in done], options.processes
    ):
        with options.out.open("a") as file:
            file.write(
                json.dumps({"how": how, "key": key, "name": name, "tally": tally, "calls": calls}) + "\n"
            )
        yield key, name, tally, calls


def spread(work, every, processes):
    """Results as they come, over so many processes; one works here."""
    if processes == 1:
        yield from map(work, every)
        return
    with ProcessPoolExecutor(processes) as pool:
        waiting = [pool.submit(work, each) for each in every]
        try:
            for each in as_completed(waiting):
                yield each.result()
        except KeyboardInterrupt:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def kinds(options, keys):
    """All kinds of fault: a line as each is done, then the tables of what there is."""
    by_sheet = defaultdict(list)
    try:
        for key, name, tally, calls in measured(options, keys):
            by_sheet[key].append((name, tally, calls))
            tables.progress(key, name, tally)
    except KeyboardInterrupt:
        print("interrupted: the same command goes on from here")
    together = []
    for key in (key for key in keys if key in by_sheet):
        kind, how = UNIT_TYPES[key], f"{options.meter}, {options.order} order"
        rows = sorted(by_sheet[key], key=lambda row: kinds_of(kind).index(row[0]))
        floor_s = Bench(kind, options.meter, "", slips=0.0, order=options.order).floor_s()
        tables.sheet(kind, rows, how, floor_s)
        together += tables.calls_of(kind, rows)
    print("\nAll sheets together")
    tables.goals([row for rows in by_sheet.values() for row in rows])
    tables.calibration(together)


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
    parser.add_argument("--kind", choices=[*PRIORS, "two_faults"], help="one kind of fault only")
    parser.add_argument(
        "--hurried", action="store_true", help="hands move on before this meter can show that they lifted"
    )
    parser.add_argument("--theory", type=int, default=300, help="units a kind asked what can be told")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--out", type=Path, help="file for what is done so far; one of its own by default")
    parser.add_argument(
        "--shift", type=int, default=0, help="units of a mixed shift, in either order, instead"
    )
    options = parser.parse_args()
    began_s = time.perf_counter()
    keys = [options.sheet] if options.sheet else list(UNIT_TYPES)
    if options.shift:
        shared = (options.shift, options.meter, options.slips)
        every = [(key, *shared, order, options.seed) for key in keys for order in Order]
        for key, order, tally in spread(one_shift, every, options.processes):
            tables.shift(key, order, tally, options.shift)
    else:
        if options.out is None:
            hurried = "-hurried" if options.hurried else ""
            name = (
                f"diagnosis-{options.meter}-{options.order}-{options.units}-seed{options.seed}{hurried}.jsonl"
            )
            options.out = OUTPUT / name
        kinds(options, keys)
    print(f"\n{time.perf_counter() - began_s:.0f} s with {options.processes} processes")


if __name__ == "__main__":
    main()
