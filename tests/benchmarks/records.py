"""Questions to a large record: time and memory of each, beside a bare count of the same file.

    python -m tests.benchmarks.records [--verdicts 100000] [--batch-units 250] [--folder FOLDER]

A journal is filled through the real store with batches of invented Fathom 7 transformers (four verdicts a
unit, evidence as a real verdict has it), then asked by the functions that commands call. Each is run three
times; told are the median and the largest time, the processor's own part of it (what is left of the figure
on a busy machine), and the peak of Python's memory in one more run. Held constant: the file, which is in the
page cache, as after a day's work.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import random
import sqlite3
import statistics
import tempfile
import time
import tracemalloc
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from acquire.bench.daemon import unit_known
from acquire.clock import RealClock
from acquire.journal.history import JournalReader
from acquire.journal.plain import spelt
from acquire.journal.query import Query
from acquire.journal.store import Journal
from acquire.records import (
    Batch,
    BatchEvent,
    BatchState,
    Evidence,
    FaultPlace,
    Hypothesis,
    Outcome,
    Purpose,
    Shape,
    Term,
    UnitStarted,
    WoundFrom,
)
from acquire.reports.batch import batch_report, batches_of
from acquire.reports.export import batch_csv
from tests.benchmarks.records_papers import paper_questions
from tests.known_records import NOON_S, RESULT, VERDICT

STEPS = (
    ("P1", "1", "2", 246.0, 0.06),
    ("P2", "3", "4", 269.3, 0.06),
    ("S1", "5", "6", 1.6475, 0.04),
    ("S2", "7", "8", 1.6475, 0.04),
)
UNITS_A_BATCH = 250
EVIDENCE = Evidence(
    terms=tuple(Term(name, 0.01 * k, Shape.NORMAL, 12.0) for k, name in enumerate(
        ("meter accuracy", "repeatability", "leftover drift", "display resolution", "temperature", "leads"), 1
    )),
    trace=tuple((0.05 * k, 246.0 + 0.01 / (k + 1)) for k in range(30)),
    raw_hex="2b 32 34 36 2e 30 30",
    temperature_source="thermometer",
    temperature_utc_s=NOON_S,
)  # fmt: skip
RUNS = 3


def unit_records(dice, batch, number, utc_s, spool):
    """What one unit leaves on the record."""
    serial = f"{batch}-{number:04d}"
    started = UnitStarted(
        "bench-1", serial, "Fathom 7", "5e" * 32, Purpose.FINAL, batch, "Ida", utc_s,
        (WoundFrom("P1", spool, 1.37, 4e-4), WoundFrom("P2", spool, 1.37, 4e-4)),
    )  # fmt: skip
    records = [(started, None)]
    failed = dice.random() < 0.03
    for step, a, b, nominal, tolerance in STEPS:
        ohm = nominal * (
            1.0 + dice.gauss(0.0, 0.005) - (0.035 if spool == "36-B" and step[0] == "P" else 0.0)
        )
        outcome = Outcome.FAIL if failed and step == "S2" else Outcome.PASS
        verdict = replace(
            VERDICT, bench="bench-1", serial=serial, sheet="Fathom 7", step=step, pin_a=a, pin_b=b,
            outcome=outcome, reference_ohm=ohm, raw_ohm=ohm, nominal_ohm=nominal, batch=batch,
            lower_ohm=nominal * (1 - tolerance), upper_ohm=nominal * (1 + tolerance),
            standard_uncertainty_ohm=2e-4 * ohm, expanded_ohm=4e-4 * ohm, meter_id="meter", utc_s=utc_s + 5.0,
            purpose=Purpose.FINAL,
        )  # fmt: skip
        records.append((verdict, EVIDENCE))
    place = FaultPlace("too_few_turns", ("S2",), (0.012,), turns=165)
    hypotheses = (Hypothesis("too_few_turns", 0.7, (place,)),) if failed else ()
    result = replace(
        RESULT, bench="bench-1", serial=serial, sheet="Fathom 7", batch=batch, hypotheses=hypotheses,
        outcome=Outcome.FAIL if failed else Outcome.PASS, measured=Outcome.FAIL if failed else Outcome.PASS,
        started_utc_s=utc_s, utc_s=utc_s + 30.0,
    )  # fmt: skip
    return [*records, (result, None)]


async def fill(folder, verdicts, units):
    """A journal of so many verdicts, through the real store; gives seconds and the number of batches."""
    began = time.perf_counter()
    dice, utc_s = random.Random(7), NOON_S
    journal = Journal.open(folder, bench="bench-1", clock=RealClock())
    batches = -(-verdicts // (units * len(STEPS)))
    try:
        for b in range(batches):
            name = f"lot {b + 1}"
            opened = Batch(
                "bench-1", name, BatchEvent.OPENED, BatchState.FINISHED, "Fathom 7", "5e" * 32, units,
                (), "", "Ida", "", utc_s,
            )  # fmt: skip
            await journal.append([(opened, None)])
            for start in range(0, units, 50):
                records = []
                for number in range(start, min(start + 50, units)):
                    spool = "36-A" if number < units // 2 else "36-B"
                    records += unit_records(dice, name, number + 1, utc_s, spool)
                    utc_s += 90.0
                await journal.append(records)
    finally:
        await journal.close()
    return time.perf_counter() - began, batches


def measured(what):
    """Median and largest time of some runs, median processor time, and the peak memory of one more."""
    times, works = [], []
    for _ in range(RUNS):
        began, worked = time.perf_counter(), time.process_time()
        what()
        times.append(time.perf_counter() - began)
        works.append(time.process_time() - worked)
    tracemalloc.start()
    what()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return statistics.median(times), max(times), statistics.median(works), peak


def drained(found):
    """Take everything an iterator gives, keeping nothing."""
    return sum(1 for _ in found)


def bare_count(file):
    """What SQLite itself needs to count the rows."""
    with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as connection:
        return connection.execute("SELECT count(*) FROM entry").fetchone()[0]


def questions(folder, batches):
    """Name -> what is asked, by the functions that the commands call."""
    middle = f"lot {batches // 2 + 1}"

    def asked(question):
        with JournalReader(folder) as reader:
            return drained(reader.find(question))

    def all_batches():
        with JournalReader(folder) as reader:
            return batches_of(reader)

    def report(**wanted):
        with JournalReader(folder) as reader:
            return batch_report(reader, middle, **wanted)

    def page():
        from acquire.reports.batch_document import batch_document
        from acquire.reports.pictures import svg_pictures
        from acquire.reports.printing import as_html

        found = report()
        return as_html(batch_document(found, svg=svg_pictures(found)))

    return {
        "bare SELECT count(*)": lambda: bare_count(folder / "journal.db"),
        "history of one serial": lambda: asked(Query(serial=f"{middle}-0100")),
        "history of one batch, with evidence": lambda: asked(Query(batch=middle)),
        "which batch a unit belongs to (at each start)": lambda: unit_known(
            folder / "journal.db", f"{middle}-0100", Purpose.FINAL
        ),
        "all batches (steadyohm batch)": all_batches,
        "report of one batch": report,
        "its means of five as well": lambda: report(subgroup=5),
        "its JSON": lambda: json.dumps(spelt(report())),
        "its CSV": lambda: batch_csv(report()),
        "its HTML with drawings": page,
    }


def main():
    """Fill and ask."""
    words = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    words.add_argument("--verdicts", type=int, default=100_000)
    words.add_argument(
        "--folder", type=Path, default=None, help="keep the journal here, and use it if it is there"
    )
    words.add_argument("--batch-units", type=int, default=UNITS_A_BATCH, help="units in each batch")
    given = words.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.folder or Path(scratch)
        file = folder / "journal.db"
        batches = -(-given.verdicts // (given.batch_units * len(STEPS)))
        if not file.exists():
            seconds, batches = asyncio.run(fill(folder, given.verdicts, given.batch_units))
            print(f"filled in {seconds:.1f} s")
        print(f"{given.verdicts} verdicts in {batches} batches, {file.stat().st_size / 1e6:.0f} MB\n")
        print(f"{'question':<48}{'median s':>10}{'largest s':>11}{'processor s':>13}{'peak MB':>10}")
        for name, what in (questions(folder, batches) | paper_questions(folder, batches)).items():
            median, largest, work, peak = measured(what)
            print(f"{name:<48}{median:>10.3f}{largest:>11.3f}{work:>13.3f}{peak / 1e6:>10.1f}")


if __name__ == "__main__":
    main()
