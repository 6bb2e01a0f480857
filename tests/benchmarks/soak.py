"""A day and night at the bench, compressed: does anything grow that should not?

    python -m tests.benchmarks.soak [READINGS]

The real daemon (assembly, feed, heart, journal on disk, CSV) on a meter in memory whose probes obey every
prompt (tests/obedient_meter.py); its clock is turned by hand, 43 ms a reading, so that two million readings
are 24 hours. Units come one after the other, one in twenty with shorted turns, one in fifty with a lost link.
Twenty samples of memory, threads and descriptors are printed; between the middle and the end memory may grow
by 5 %, threads and descriptors by two (workers that are made when first needed; the CSV file comes and goes).
Held constant: one sheet, no broker; garbage is collected before each sample.
"""

from __future__ import annotations

import asyncio
import contextlib
import csv
import gc
import itertools
import sqlite3
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import psutil

from acquire.clock import HandClock
from acquire.files.settings import load_bench
from drivers.errors import LinkLost
from tests.obedient_meter import StillBench
from tests.whole_bench import bench_file

SAMPLES = 20
SHORTED_EVERY = 20
LOST_EVERY = 50


@dataclass
class Sample:
    """What the process held at some moment."""

    readings: int
    verdicts: int
    rss_mb: float
    threads: int
    descriptors: int
    tasks: int
    objects: int
    journal_mb: float


def sampled(still, process):
    """Look at this process."""
    gc.collect()
    return Sample(
        still.meter.conversion,
        still.daemon.outcomes.total(),
        process.memory_info().rss / 1e6,
        process.num_threads(),
        process.num_fds(),
        len(asyncio.all_tasks()),
        len(gc.get_objects()),
        still.daemon.journal.path.stat().st_size / 1e6,
    )


def disturbed(still, serials):
    """Serials, and what goes wrong with some of the units."""
    for number, serial in enumerate(serials):
        still.meter.factor = {"4–6": 0.7} if number % SHORTED_EVERY == SHORTED_EVERY - 1 else {}
        if number % LOST_EVERY == LOST_EVERY - 1:
            still.meter.break_with = LinkLost("the cable was pulled", port="memory")
        yield serial


async def soak(folder, readings):
    """Work until so many readings have been taken. Gives the samples."""
    file = bench_file(folder, meter="tcp:127.0.0.1:9", changes=[('"22.5 °C"', '"20 °C"')])
    text = file.read_text(encoding="utf-8").replace(
        'uncertainty = "1.5 K"', 'uncertainty = "1.5 K"\noldest = "60 d"'
    )
    file.write_text(text, encoding="utf-8")
    still = await StillBench(load_bench(file), HandClock(100.0), keep=False).assembled()
    still.serials = disturbed(still, (f"S-{number:06d}" for number in itertools.count()))
    process, stop, samples = psutil.Process(), asyncio.Event(), []
    async with asyncio.TaskGroup() as group:
        group.create_task(still.daemon.run(stop), name="daemon")
        scanner = group.create_task(still.scan(), name="scanner")
        for step in range(1, SAMPLES + 1):
            await still.until(
                lambda b, step=step: b.meter.conversion >= readings * step / SAMPLES, 24 * 3600.0
            )
            samples.append(sampled(still, process))
            told(samples[-1])
        still.meter.calm = None
        scanner.cancel()
        stop.set()
    return samples, still


def verdicts_of(folder):
    """Verdicts on the journal and in its archives, counted by the database."""
    files = [folder / "journal" / "journal.db", *(folder / "journal").glob("archive/*.db")]
    total = 0
    for file in files:
        with contextlib.closing(sqlite3.connect(file)) as journal:
            total += journal.execute("SELECT count(*) FROM entry WHERE kind = 'verdict'").fetchone()[0]
    return total


def rows_of(folder):
    """Rows of all CSV files, their headers not counted."""
    total = 0
    for file in (folder / "csv").glob("*.csv"):
        with file.open(encoding="utf-8-sig", newline="") as stream:
            total += sum(1 for _ in csv.DictReader(stream))
    return total


def told(sample):
    """One line a sample."""
    print(
        f"{sample.readings:>9} readings  {sample.verdicts:>6} verdicts  {sample.rss_mb:7.1f} MB"
        f"  {sample.threads:>3} threads  {sample.descriptors:>3} descriptors  {sample.tasks:>3} tasks"
        f"  {sample.objects:>7} objects  journal {sample.journal_mb:6.0f} MB",
        flush=True,
    )


def main():
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else 2_050_000
    began_s, cpu_s = time.monotonic(), time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        samples, still = asyncio.run(soak(Path(folder), readings))
        took_s, cpu_s = time.monotonic() - began_s, time.process_time() - cpu_s
        on_record, rows = verdicts_of(Path(folder)), rows_of(Path(folder))
    middle, last = samples[len(samples) // 2 - 1], samples[-1]
    print(f"\n{last.readings} readings, {still.daemon.outcomes.total()} verdicts of {still.results} units")
    print(f"verdicts by outcome: {dict(still.daemon.outcomes)}")
    hours = last.readings * still.meter.spacing_s / 3600
    print(f"simulated {hours:.1f} h in {took_s:.0f} s ({cpu_s:.0f} s of processor)")
    print(f"on the journal {on_record}, rows of CSV {rows}")
    print(
        f"second half: memory {last.rss_mb - middle.rss_mb:+.1f} MB of {middle.rss_mb:.1f},"
        f" objects {last.objects - middle.objects:+d}, threads {last.threads - middle.threads:+d},"
        f" descriptors {last.descriptors - middle.descriptors:+d}, tasks {last.tasks - middle.tasks:+d}"
    )
    flat = last.rss_mb < 1.05 * middle.rss_mb and last.threads <= middle.threads + 2
    flat = flat and last.descriptors <= middle.descriptors + 2
    agree = on_record == rows == still.daemon.outcomes.total()
    print("flat" if flat else "NOT FLAT", "and the records agree" if agree else "AND THE RECORDS DISAGREE")
    return 0 if flat and agree else 1


if __name__ == "__main__":
    sys.exit(main())
