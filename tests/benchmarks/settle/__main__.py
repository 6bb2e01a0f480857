"""`python -m tests.benchmarks.settle`: generate, run, score and print; see --help for the other forms."""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from pathlib import Path

from . import baselines, benches, learn, plots, product
from .meters import METERS
from .scoring import Score, add
from .traces import Trace, make_traces
from .worlds import NAMED

HEAD = (
    f"{'class':<11} {'algorithm':<15} {'reports':>7} {'false %':>19} {'dangerous':>9} {'missed %':>19} "
    f"{'off %':>6} {'delay s 50/90/99':>15} {'cover':>7} {'us':>5}"
)


def row(name: str, algorithm: str, score: Score) -> str:
    false, missed = score.interval("false"), score.interval("missed")
    return (
        f"{name:<11} {algorithm:<15} {score.detections:>7} "
        f"{score.share('false'):>6.2f} ({false[0]:.2f}-{false[1]:5.2f}) {score.share('dangerous'):>9.2f} "
        f"{score.share('missed'):>5.2f} ({missed[0]:.2f}-{missed[1]:5.2f}) {score.share('off_target'):>5.1f} "
        f"{score.delay_s(0.5):>5.2f}/{score.delay_s(0.9):.2f}/{score.delay_s(0.99):.2f} "
        f"{score.coverage:>7.3f} {1e6 * score.seconds / max(score.readings, 1):>5.1f}"
    )


def algorithms(name: str, *, learnt: bool) -> dict[str, Callable]:
    """Each takes a trace and its readings and gives detections."""
    found = {
        label: (lambda trace, _, rule=rule: baselines.detect(rule, trace))
        for label, rule in baselines.BASELINES.items()
    }
    given = product.settings_for(name)
    found["filter"] = lambda _, readings: product.detect(readings, given)
    if learnt:
        unknown = product.settings_for(name, learnt=True)
        found["filter, learnt"] = lambda _, readings: product.detect(readings, unknown)
    return found


def table(names: list[str], wanted: list[str] | None, count: int, seed: int) -> None:
    """Generate each class once and run every algorithm over it."""
    print(f"{count} traces a class, seed {seed}; intervals: Wilson, 95 %")
    print(HEAD)
    for name in names:
        runs = {k: v for k, v in algorithms(name, learnt=True).items() if wanted is None or k in wanted}
        scores = {label: Score() for label in runs}
        for trace in make_traces(name, count, seed):
            readings = product.readings_of(trace)
            for label, run in runs.items():
                started_s = time.process_time()
                detections = run(trace, readings)
                scores[label].seconds += time.process_time() - started_s
                scores[label].readings += len(readings)
                add(scores[label], trace, detections)
        for label, score in scores.items():
            print(row(name, label, score), flush=True)


def blind(source: Path, target: Path) -> None:
    """Read traces without truth, one JSON object a line, and write detections.

    Traces with the same `bench` come in order and are of one bench, which learns; without it each is a bench
    of its own.
    """
    seen: dict[str, product.Bench] = {}
    with source.open() as lines, target.open("w") as out:
        for line in lines:
            if not line.strip():
                continue
            raw = json.loads(line)
            trace = Trace(raw["id"], raw["meter"], raw["readings"], bench=raw.get("bench", ""))
            bench = seen.get(trace.bench) or product.Bench(product.settings_for(trace.meter))
            if trace.bench:
                seen[trace.bench] = bench
            for found in bench.detect(product.readings_of(trace)):
                row = {
                    "id": trace.id,
                    "t": found.time_s,
                    "value": found.value,
                    "expanded_uncertainty": found.expanded,
                }
                out.write(json.dumps(row) + "\n")


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.settle", description=__doc__)
    parser.add_argument("--count", type=int, default=1000, help="traces a class (default 1000)")
    parser.add_argument("--seed", type=int, default=11, help="seed of the traces (default 11)")
    parser.add_argument(
        "--classes", nargs="+", choices=list(METERS), default=list(METERS), help="classes of meters"
    )
    parser.add_argument("--algorithms", nargs="+", choices=[*baselines.BASELINES, "filter", "filter, learnt"])
    parser.add_argument("--traces", type=Path, metavar="IN.jsonl", help="blind traces to read")
    parser.add_argument("--out", type=Path, metavar="OUT.jsonl", help="where to write their detections")
    parser.add_argument("--plot", type=Path, metavar="DIR", help="draw typical and failing contacts")
    parser.add_argument(
        "--worlds",
        nargs="*",
        choices=[*NAMED, "family"],
        metavar="WORLD",
        help=f"benches of these worlds, scored after {benches.WARM_UP} contacts: "
        f"{', '.join(NAMED)}, family; none named: all",
    )
    parser.add_argument("--benches", type=int, default=2, help="benches a world and class (default 2)")
    parser.add_argument(
        "--trade", action="store_true", help="of --worlds: what more doubt, or a longer look, costs and gains"
    )
    parser.add_argument(
        "--learn", action="store_true", help="learn the doubt anew and write acquire/settle/weights.py"
    )
    parser.add_argument(
        "--bound", nargs=2, metavar=("WORLD", "CLASS"), help="how well contacts of a world can be told at all"
    )
    chosen = parser.parse_args()
    if (chosen.traces is None) != (chosen.out is None):
        parser.error("--traces and --out go together")
    if chosen.traces is not None:
        blind(chosen.traces, chosen.out)
    elif chosen.plot is not None:
        plots.draw(chosen.plot, chosen.classes, chosen.count, chosen.seed)
    elif chosen.worlds is not None:
        worlds = chosen.worlds or [*NAMED, "family"]
        variants = benches.TRADE if chosen.trade else benches.VARIANTS
        benches.table(worlds, chosen.classes, chosen.benches, chosen.count, chosen.seed, variants)
    elif chosen.bound is not None:
        learn.bound(*chosen.bound, chosen.benches)
    elif chosen.learn:
        learn.learn()
    else:
        table(chosen.classes, chosen.algorithms, chosen.count, chosen.seed)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
